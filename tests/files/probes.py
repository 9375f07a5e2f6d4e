"""A small bench for the tests of the reader: one node with a signal of every kind, one polled."""

from pathlib import Path

from hil.core.error import DescriptionError
from hil.core.plan import Case, Expectation
from hil.files.read import read_plan, read_rack
from hil.wire.rack import Rack

BENCH = """\
bench: probes
interface: lo
host: 127.0.0.1
layouts:
  request:
    role: request
    fields:
      - {name: kind, type: u8, constant: 0x21}
      - {name: request, type: u16, is: request}
      - {name: operation, type: u8, is: operation}
      - {name: argument, type: i32, is: value}
    examples:
      - {bytes: 21 00 41 02 00 00 01 E0, values: {request: 65, operation: 2, argument: 480}}
  text-request:
    role: request
    fields:
      - {name: kind, type: u8, constant: 0x23}
      - {name: request, type: u16, is: request}
      - {name: operation, type: u8, is: operation}
      - {name: argument, type: text, size: 4, is: value}
    examples:
      - {bytes: 23 00 41 06 4F 50 45 4E, values: {request: 65, operation: 6, argument: OPEN}}
  answer:
    role: answer
    fields:
      - {name: kind, type: u8, constant: 0x22}
      - {name: request, type: u16, is: request}
      - {name: status, type: u8, is: status}
    examples:
      - {bytes: 22 00 41 00, values: {request: 65, status: 0}}
  probe-reading:
    role: reading
    fields:
      - {name: kind, type: u8, constant: 0x31}
      - {signal: pressure, type: i16}
      - {signal: angle, type: i16}
      - {signal: position, type: i16}
      - {signal: lamp, type: u8}
      - {signal: caption, type: text, size: 4}
      - {signal: air, type: f32}
      - {signal: share, type: u8}
    examples:
      - bytes: 31 01 E0 00 00 00 0A 03 4F 50 45 4E 42 CA A6 66 2D
        values: {pressure: 4.80 bar, position: 1.0 deg, lamp: red, caption: OPEN, share: 45 %}
  slow-reading:
    role: reading
    fields:
      - {name: kind, type: u8, constant: 0x32}
      - {signal: warmth, type: i16}
      - {signal: tally, type: u16}
    examples:
      - {bytes: 32 07 D0 00 03, values: {warmth: 20 degC, tally: 3 count}}
nodes:
  probe:
    number: 1
    address: 127.0.0.1:47901
    firmware: ">= 1.10"
    layouts: [request, text-request, answer, probe-reading]
    answer-within: 50 ms
    requests: {read: 1, listen: 9, renew: 2 s}
    signals:
      pressure:
        unit: bar
        scale: 0.01
        range: 0 bar to 10 bar
        sentinels: [0x7FFF, 0x7FF0 to 0x7FFE]
        noise: 0.01 bar
        drive: {operation: 2, safe: 2.4 bar, actuator: no}
      angle:
        unit: deg
        scale: 0.1
        range: -90 deg to 90 deg
        drive: {operation: 3, safe: 0 deg, rate: 50 deg/s, readback: position, readback-tolerance: 1 deg}
      position: {unit: deg, scale: 0.1, range: -95 deg to 95 deg}
      lamp:
        labels: {0: off, 1: on, 2: no, 3: red}
        drive: {operation: 4, safe: off}
      caption:
        text: yes
        drive: {operation: 6, safe: "", actuator: no}
      ghost:
        labels: {0: asleep, 1: awake}
        drive: {operation: 7, safe: asleep, actuator: no}
      air: {unit: kPa, range: 30 kPa to 120 kPa}
      share: {unit: fraction, scale: 0.01, range: 0 to 1}
  slow:
    number: 2
    address: 127.0.0.1:47902
    layouts: [request, slow-reading]
    answer-within: 50 ms
    requests: {read: 1, poll: 50 ms}
    signals:
      warmth: {unit: degC, scale: 0.01, range: -40 degC to 85 degC}
      tally: {unit: count, range: 0 to 500}
"""


def bench(tmp_path: Path, text: str = BENCH) -> Rack:
    """Read a bench from text."""
    file = tmp_path / "bench.yaml"
    file.write_text(text, encoding="utf-8")
    return read_rack(file)


def bench_mistakes(tmp_path: Path, old: str, new: str) -> list[str]:
    """Return what is wrong with the small bench after one replacement, as `line:column: what`."""
    assert old in BENCH
    try:
        bench(tmp_path, BENCH.replace(old, new, 1))
    except DescriptionError as error:
        return _shown(error, tmp_path)
    return []


def plan_text(body: str) -> str:
    """Return a plan of one case whose steps are `body`, which begins in line 5, column 7."""
    lines = "\n".join(f"      {line}" for line in body.strip("\n").splitlines())
    return f"plan: Probing\ncases:\n  - case: one\n    steps:\n{lines}\n"


def expecting(expectation: str) -> str:
    """Return a plan of one case with one expectation, which stands in line 6 from column 13."""
    return plan_text(f"- expect:\n    - {expectation}")


def cases(tmp_path: Path, rack: Rack, text: str) -> tuple[Case, ...]:
    """Read the cases of a plan from text."""
    file = tmp_path / "plan.yaml"
    file.write_text(text, encoding="utf-8")
    return read_plan(file, rack).cases


def expectation(tmp_path: Path, rack: Rack, text: str) -> Expectation:
    """Read the one expectation of a plan of one case."""
    return cases(tmp_path, rack, expecting(text))[0].steps[0].expectations[0]


def mistakes(tmp_path: Path, rack: Rack, text: str) -> list[str]:
    """Return what is wrong with a plan, as `line:column: what`, hints after `| try:`."""
    try:
        cases(tmp_path, rack, text)
    except DescriptionError as error:
        return _shown(error, tmp_path)
    return []


def _shown(error: DescriptionError, folder: Path) -> list[str]:
    shown = []
    for mistake in error.mistakes:
        place = str(mistake.mark).removeprefix(str(folder)).split(":", 1)[1]
        hint = f" | try: {mistake.hint}" if mistake.hint else ""
        word = "warning: " if mistake.warning else ""
        shown.append(f"{place}: {word}{mistake.what}{hint}")
    return shown
