"""An alarm spec file for the small bench of files.probes, and what the reader says about others."""

from pathlib import Path

from files.probes import _shown

from hil.alarms.spec import Spec
from hil.core.error import DescriptionError
from hil.files.read import read_alarms
from hil.wire.rack import Rack

ALARMS = """\
alarms: Probing
specs:
  - spec: Pressure
    signal: probe.pressure
    normal: good
    bands:
      - {band: good, colour: green, below: 5 bar}
      - {band: bad, colour: red, at-or-above: 5 bar, dead-band: 0.5 bar}
    reset-point: clears
    decides: measured
    no-reading: {fault: blue, stale: blue, silent: blue, stale-after: 1 s, silent-after: never, afterwards: kept}
    start-up: {colour: off, hold: 0 s}
    indicators:
      - {signal: probe.lamp, labels: {good: on, bad: red, fault: no, stale: no, silent: no, start-up: off}, cue: text}
    agree-within: 100 ms
    tolerance: {level: 0 bar, time: 0 ms, rule: simple}
"""


def read(tmp_path: Path, rack: Rack, text: str = ALARMS) -> tuple[Spec, ...]:
    """Read an alarm spec file from text."""
    file = tmp_path / "probing-alarms.yaml"
    file.write_text(text, encoding="utf-8")
    return read_alarms(file, rack)


def changed(*changes: tuple[str, str]) -> str:
    """Return the file after some replacements."""
    text = ALARMS
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return text


def mistakes(tmp_path: Path, rack: Rack, *changes: tuple[str, str]) -> list[str]:
    """Return what is wrong after some replacements, as `line:column: what | try: hint`."""
    try:
        read(tmp_path, rack, changed(*changes))
    except DescriptionError as error:
        return _shown(error, tmp_path)
    return []
