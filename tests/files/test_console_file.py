"""`console` in a bench file: what is read, and every mistake at its place."""

from pathlib import Path

import jsonschema
import pytest
from files.probes import _shown

from hil.core.error import DescriptionError
from hil.core.instant import MILLISECOND, SECOND
from hil.files.read import read_rack
from hil.files.schema import bench_schema

ROOT = Path(__file__).parents[2]
DOSER = (ROOT / "fixtures" / "doser.yaml").read_text(encoding="utf-8")
BENCH = """\
bench: pumps
interface: lo
host: 127.0.0.1
nodes:
  pump:
    number: 1
    answer-within: 50 ms
    console:
      device: /dev/serial/by-id/usb-pump-if00
      rate: 9600
      readings: ['r=(?P<rate>\\d+) v=(?P<valve_1_state>\\w+)']
      accept: 'ok'
      refuse: 'no (?P<why>.*)'
      commands:
        rate: rate {value}
        valve-1.state: {send: 'v {raw}', accept: 'v=(?P<value>.*)'}
    signals:
      rate: {unit: rpm, range: 0 rpm to 100 rpm, drive: {safe: 0 rpm}}
      valve-1.state: {labels: {0: shut, 1: open}, drive: {safe: shut}}
"""


def read(folder, text):
    file = folder / "bench.yaml"
    file.write_text(text, encoding="utf-8")
    return read_rack(file)


def mistakes(folder, old, new, text=BENCH):
    assert old in text
    try:
        read(folder, text.replace(old, new, 1))
    except DescriptionError as error:
        return _shown(error, folder)
    return []


def test_what_is_written_is_what_the_rack_has(tmp_path):
    [node] = read(tmp_path, BENCH).nodes
    console = node.console

    assert str(node.address) == "/dev/serial/by-id/usb-pump-if00"
    assert console.address == node.address
    assert (console.line.rate, console.line.frame) == (9600, "8N1")
    assert console.commands["rate"].accept.pattern == "ok"
    assert console.commands["valve-1.state"].accept.pattern == "v=(?P<value>.*)"
    assert console.commands["valve-1.state"].refuse.pattern == "no (?P<why>.*)"
    assert [signal.sensed for signal in node.signals] == [True, True]
    assert node.operations == {}


def test_the_demo_says_everything_that_there_is_to_say(tmp_path):
    [node] = read(tmp_path, DOSER).nodes
    console = node.console

    assert str(console.usb) == "usb 1a86-7523 serial DS-0201"
    assert (console.line.dtr, console.line.rts, console.opening_resets) == (False, False, True)
    assert console.boot_within == 3 * SECOND
    assert console.read.every == 50 * MILLISECOND
    assert console.identify.answer.groupindex.keys() == {"serial", "firmware"}
    assert {signal.sampling for signal in node.signals} == {50 * MILLISECOND}


@pytest.mark.parametrize(
    ("old", "new", "wrong"),
    [
        (
            "/dev/serial/by-id/usb-pump-if00",
            "/dev/ttyUSB0",
            "9:15: device: `/dev/ttyUSB0` has a number that another adapter may get after the next "
            "reset | try: /dev/serial/by-id/... or /dev/serial/by-path/..., or `usb:`",
        ),
        (
            "/dev/serial/by-id/usb-pump-if00",
            "COM3",
            "9:15: device: `COM3` has a number that another adapter may get after the next reset"
            " | try: /dev/serial/by-id/... or /dev/serial/by-path/..., or `usb:`",
        ),
        (
            "/dev/serial/by-id/usb-pump-if00",
            "pump",
            "9:15: device: `pump` is no device | try: /dev/serial/by-id/...",
        ),
        (
            "      device: /dev/serial/by-id/usb-pump-if00\n",
            "",
            "9:7: a console needs one of `device` or `usb`",
        ),
        ("rate: 9600", "rate: 9600 baud", None),
        ("rate: 9600", "rate: 3", "10:13: rate: expected 50 to 4000000 bit/s | try: 115200"),
        (
            "rate: 9600",
            "rate: 9600\n      frame: 8Q1",
            "11:14: frame: expected bits, parity and stop bits such as `8N1`, got `8Q1`"
            " | try: 8N1, 7E1 or 8N2",
        ),
        (
            "accept: 'ok'",
            "accept: '(o+)+k'",
            "12:15: accept: the pattern `(o+)+k` repeats a group that has a repetition or a choice "
            "inside, which may take for ever",
        ),
        (
            "accept: 'ok'",
            "accept: 'ok('",
            "12:15: accept: the pattern `ok(` has a `(` without its `)`",
        ),
        (
            "(?P<rate>",
            "(?P<rat>",
            "11:18: pump has no signal for the group `rat` | try: rate",
        ),
        (
            "rate: rate {value}",
            "rat: rate {value}",
            "15:14: pump has no signal `rat` | try: rate",
        ),
        (
            "rate: rate {value}",
            "rate: rate",
            "15:15: send: has no `{value}`, so it says nothing about the value | try: {value}",
        ),
        (
            "rate: rate {value}",
            "rate: rate {number}",
            "15:15: send: `{number}` stands for nothing | try: {value} or {raw}",
        ),
        (
            "      accept: 'ok'\n",
            "",
            "14:15: nothing says how it is answered: the console has no `accept`, nor has this"
            " | try: accept: 'ok.*'",
        ),
        (
            "        rate: rate {value}\n",
            "",
            "17:57: pump.rate is driven, but no command of the console says how"
            " | try: commands: {rate: 'set rate {value}'}",
        ),
        (
            ", drive: {safe: 0 rpm}",
            "",
            "15:15: pump.rate has no `drive`, so nothing says where it must end",
        ),
        (
            "drive: {safe: 0 rpm}",
            "drive: {safe: 0 rpm, operation: 2}",
            "18:82: operation: the node has no layouts, so it knows none",
        ),
        (
            "rate: 9600",
            "rate: 9600\n      longest-line: 4000",
            "11:21: longest-line: expected 80 to 1024",
        ),
        (
            "rate: 9600",
            "rate: 9600\n      prompt: '.*'",
            "11:15: prompt: the pattern `.*` does not end with one known character | try: 'pump> '",
        ),
        (
            "rate: 9600",
            "rate: 9600\n      opening-resets: yes",
            "11:7: `opening-resets` goes only with `boot`",
        ),
        (
            "rate: 9600",
            "rate: 9600\n      identify: {send: id, answer: 'id .*'}",
            "11:36: answer: has neither a group `serial` nor one `firmware`",
        ),
        (
            "answer-within: 50 ms\n",
            "answer-within: 50 ms\n    layouts: [reading]\n",
            None,
        ),
        (
            "number: 1\n",
            "number: 1\n    address: 127.0.0.1:47801\n",
            None,
        ),
        ("    console:\n", "    konsole:\n", None),
    ],
)
def test_a_mistake_is_told_at_its_place(tmp_path, old, new, wrong):
    told = mistakes(tmp_path, old, new)

    assert told
    if wrong is not None:
        assert told == [wrong]


def test_every_mistake_is_told_at_once(tmp_path):
    text = BENCH.replace("9600", "1").replace("'ok'", "'('").replace("{value}", "{x}")

    assert len(mistakes(tmp_path, "lo\n", "lo\n", text)) == 3


def test_one_line_is_not_the_console_of_two_nodes(tmp_path):
    second = BENCH.split("nodes:\n")[1].replace("pump:", "other:").replace("number: 1", "number: 2")

    [told] = mistakes(tmp_path, "lo\n", "lo\n", BENCH + second)

    assert "other has the console /dev/serial/by-id/usb-pump-if00, which is that of pump" in told


def test_two_signals_that_patterns_cannot_tell_apart_are_told(tmp_path):
    text = BENCH + "      valve_1.state: {labels: {0: shut}}\n"

    assert any("one group in patterns" in one for one in mistakes(tmp_path, "lo\n", "lo\n", text))


def test_a_node_with_an_address_is_not_driven_on_its_console(tmp_path):
    told = mistakes(tmp_path, "number: 1\n", "number: 1\n    address: 127.0.0.1:47801\n")

    assert any("`commands` goes only with a node that has no `address`" in one for one in told)


@pytest.mark.parametrize(
    ("usb", "wrong"),
    [
        ("{vendor: 0x1a86, product: 0x7523, serial: A, interface: 0, location: 1-1.4}", ""),
        ("{vendor: 0x1a86}", "an adapter on the USB lacks the key `product`"),
        ("{vendor: 0x10000, product: 1}", "vendor: expected 0 to 0xffff"),
        ("{vendor: 1, product: 1, location: usb1}", "`usb1` is no place on the USB"),
        ("{vendor: 1, product: 1, interface: -1}", "interface: expected 0 to 0xff"),
    ],
)
def test_an_adapter_by_its_identity(tmp_path, usb, wrong):
    told = mistakes(tmp_path, "device: /dev/serial/by-id/usb-pump-if00", f"usb: {usb}")

    assert (wrong in told[0]) if wrong else told == []


def test_the_schema_knows_the_keys_too():
    from files.test_schema import load

    validator = jsonschema.Draft202012Validator(bench_schema())

    assert list(validator.iter_errors(load(BENCH))) == []
    assert list(validator.iter_errors(load(BENCH.replace("readings:", "reading:"))))
    assert list(validator.iter_errors(load(BENCH.replace("    console:\n", "    konsole:\n"))))
