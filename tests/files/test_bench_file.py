"""Bench files: what they become, and what is refused in them."""

from decimal import Decimal
from pathlib import Path

import pytest
from files.probes import BENCH, bench, bench_mistakes

from hil.core.error import DescriptionError
from hil.core.instant import MILLISECOND, SECOND
from hil.core.signal import Kind
from hil.files.read import read_rack
from hil.wire.rack import Address, Carries, Role

FIXTURES = Path(__file__).parents[2] / "fixtures"


def test_rack_is_what_the_file_says(rack):
    probe, slow = rack.nodes

    assert (rack.name, rack.interface, rack.host) == ("probes", "lo", "127.0.0.1")
    assert rack.late_bound == 50 * MILLISECOND
    assert len(rack.digest) == 64
    assert probe.address == Address("127.0.0.1", 47901)
    assert probe.identity.firmware == ">= 1.10"  # text, with its zero: 1.10 is not 1.1
    assert probe.operations == {"pressure": 2, "angle": 3, "lamp": 4, "caption": 6, "ghost": 7}
    assert [layout.role for layout in probe.layouts] == [
        Role.REQUEST,
        Role.REQUEST,
        Role.ANSWER,
        Role.READING,
    ]
    assert (slow.read, slow.poll, slow.listen) == (1, 50 * MILLISECOND, None)


def test_signal_is_what_the_file_says(rack):
    pressure = rack.signals()["probe.pressure"]
    encoding = rack.nodes[0].encodings["pressure"]

    assert (pressure.kind, pressure.unit) == (Kind.NUMBER, "bar")
    assert (pressure.low, pressure.high) == (Decimal(0), Decimal(10))
    assert pressure.resolution == Decimal("0.01")
    assert pressure.sensed
    assert pressure.drive.safe == pressure.drive.rest == Decimal("2.4")
    assert not pressure.drive.actuator
    assert (encoding.low, encoding.high) == (0, 1000)
    assert encoding.sentinels == ((0x7FFF, 0x7FFF), (0x7FF0, 0x7FFE))


def test_other_signals_are_what_the_file_says(rack):
    signals = rack.signals()

    assert signals["probe.lamp"].labels == ("off", "on", "no", "red")  # words, not booleans
    assert signals["probe.caption"].drive.safe == ""
    assert signals["probe.angle"].drive.readback == "probe.position"
    assert signals["probe.angle"].drive.rate == Decimal(50)
    assert signals["probe.air"].binary32
    assert signals["probe.air"].resolution is None
    assert signals["slow.warmth"].sampling == 50 * MILLISECOND  # as often as it is polled
    assert signals["probe.pressure"].sampling is None
    assert not signals["probe.ghost"].sensed


def test_a_readback_may_be_in_the_same_unit_by_another_name(tmp_path):
    read = bench(tmp_path, BENCH.replace("position: {unit: deg", "position: {unit: °"))

    assert read.signals()["probe.angle"].drive.readback == "probe.position"


def test_fields_are_what_the_file_says(rack):
    kind, request, operation, argument = rack.nodes[0].layouts[0].fields

    assert (kind.carries, kind.constant) == (Carries.CONSTANT, 0x21)
    assert (request.carries, request.order, request.size) == (Carries.REQUEST, (0, 1), 2)
    assert operation.carries is Carries.OPERATION
    assert (argument.form, argument.carries) == ("i32", Carries.VALUE)


@pytest.mark.parametrize("name", ["glasshouse.yaml", "first-node.yaml"])
def test_the_fixtures_can_be_read(name):
    rack = read_rack(FIXTURES / name)

    assert all(node.signals for node in rack.nodes)
    assert all(layout.examples for node in rack.nodes for layout in node.layouts)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("number: 2", "number: 1", "slow has the number 1, which is that of probe"),
        ("47902", "47901", "slow has the address 127.0.0.1:47901, which is that of probe"),
        ("operation: 3,", "operation: 2,", "the operation 2 is that of `pressure` and of `angle`"),
        ("{read: 1, listen: 9, renew: 2 s}", "{read: 1}", "probe is never asked for its readings"),
        ("text-request, answer, ", "text-request, ", "layouts: probe drives `pressure`, `angle` and `lamp`, and none is an answer"),
        ("requests: {read: 1, listen", "requests: {read: 2, listen", "the operation 2 is that of `read` and of"),
        ("safe: 2.4 bar", "safe: 12 bar", "safe: 12 bar is outside the range of probe.pressure"),
        ("safe: 2.4 bar", "safe: 2.405 bar", "falls between two counts of probe.pressure, 2.40 bar and 2.41 bar | try: 2.40 bar or 2.41 bar"),
        ("safe: 2.4 bar", "safe: 2.4", "safe: `2.4` has no unit | try: 2.4 bar"),
        ("safe: 2.4 bar", "safe: 2,4 bar", "safe: `2,4 bar` has a decimal comma, expected a point | try: 2.4 bar"),
        ("safe: off", "safe: of", "probe.lamp has no label `of`, it has `off`, `on`, `no` and `red` | try: off"),
        ("safe: off", "safe: off, rest: violet", "rest: probe.lamp has no label `violet`"),
        ("readback: position,", "readback: positon,", "readback: probe has no signal `positon` | try: position"),
        ("readback: position,", "readback: share,", "readback: `share` is in fraction, not in deg"),
        ("readback: position,", "readback: lamp,", "readback: `lamp` is a label, not a number"),
        ("rate: 50 deg/s", "rate: 50 deg", "rate: `50 deg` is not a rate of deg | try: write it in deg/s"),
        ("rate: 50 deg/s", "rate: 0 deg/s", "rate: `0 deg/s` would never get anywhere"),
        ("safe: 2.4 bar", "safe: -1 bar", "safe: -1 bar is outside the range of probe.pressure"),
        ("      - {name: request, type: u16, is: request}\n", "", "the layout `request` has no field that `is: request`"),
        ("[0x7FFF, 0x7FF0", "[0x0064, 0x7FF0", "the sentinel 0x64 lies inside the range"),
        ("[0x7FFF, 0x7FF0", "[0x17FFF, 0x7FF0", "the sentinel 0x17fff does not fit into its field"),
        ("range: 0 bar to 10 bar", "range: 0 bar to 400 bar", "its range reaches 400 bar, raw 40000, its field only -32768 to 32767"),
        ("range: 0 bar to 10 bar", "range: 10 bar to 0 bar", "range: the first end must be below the second"),
        ("range: 0 bar to 10 bar", "range: 10 bar", "range: `10 bar` is not a range | try: write both ends"),
        ("unit: bar", "unit: baar", "unit: the unit `baar` is not known | try: bar"),
        ("{signal: position, type: i16}", "{signal: positon, type: i16}", "carries `positon`, which probe does not have | try: position"),
        ("layouts: [request, slow-reading]", "layouts: [request, slow-redding]", "there is no layout `slow-redding` under `layouts` | try: slow-reading"),
        ("0: off, 1: on", "0: off, 0: on", "the key `0` stands here again"),
        ("0: off, 1: on", "0: off, 0x0: on", "the raw number 0 has two labels"),
        ("0: off, 1: on", "0: off, 1: off", "the label `off` stands for two raw numbers"),
        ("0: off, 1: on", "0: off, 300: on", "the raw number 300 of `on` does not fit into its field, 0 to 255"),
        ("poll: 50 ms", "pol: 50 ms", "requests has no key `pol` | try: poll"),
        ("    number: 2\n", "", "a node lacks the key `number`"),
        ("host: 127.0.0.1", "host: bench-1", "host: `bench-1` is not an address"),
        ("127.0.0.1:47902", "127.0.0.1", "address: expected an address with a port"),
        ("127.0.0.1:47902", "127.0.0.1:70000", "the port 70000 is not in 1 to 65535"),
        ('">= 1.10"', '"about 1"', "no version requirement"),
        ("unit: kPa", "unit: kPa, labels: {0: a}", "has `unit` and `labels`, expected exactly one"),
        ("text: yes", "text: on", "text: expected `yes` or `no`, got `on`"),
        ("type: u16, is: request", "type: u17, is: request", "type: expected"),
        ("type: u16, is: request", "type: u16, is: status", "a layout of a request has no `status`"),
        ("role: reading", "role: readings", "role: expected `reading`, `request`, `answer`, `announce` or `ask`, got `readings` | try: reading"),
        ("bench: probes", "bench:", "bench: has no value, expected a text"),
    ],
)  # fmt: skip
def test_mistake_is_named(tmp_path, old, new, expected):
    said = bench_mistakes(tmp_path, old, new)

    assert any(expected in sentence for sentence in said), said


def test_mistake_has_its_place(tmp_path):
    line = BENCH.splitlines().index("      pressure:") + 1

    assert bench_mistakes(tmp_path, "unit: bar", "unti: bar") == [
        f"{line + 1}:9: a signal has no key `unti` | try: unit"
    ]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("31 01 E0 00", "31 01 E1 00", "pressure is 4.81 in these octets, declared 4.80"),
        ("31 01 E0 00", "31 E0 01 00", "pressure is"),
        ("pressure: 4.80 bar, ", "presure: 4.80 bar, ", "has no field `presure` | try: pressure"),
        ("32 07 D0 00 03", "32 07 D0 00", "the example does not fit"),
        ("32 07 D0 00 03", "32 07 D0 00 0", "bytes: expected octets in hex"),
        ("warmth: 20 degC", "warmth: 20", "warmth: `20` has no unit | try: 20 degC"),
        ("lamp: red, caption", "lamp: rod, caption", "has no label `rod`"),
    ],
)
def test_worked_example_must_fit(tmp_path, old, new, expected):
    said = bench_mistakes(tmp_path, old, new)

    assert any(expected in sentence for sentence in said), said


def test_layout_without_an_example_is_refused(tmp_path):
    old = "    examples:\n      - {bytes: 32 07 D0 00 03, values: {warmth: 20 degC, tally: 3 count}}\n"

    (sentence,) = bench_mistakes(tmp_path, old, "")
    assert "a layout lacks the key `examples`: worked examples, at least one" in sentence


CRC = """\
checks:
  crc-a: {width: 16, polynomial: 0x1021, start: 0xFFFF, reflect-in: no, reflect-out: no, \
final-xor: 0x0000, check: 0x29B1}
layouts:
"""  # CRC-16/IBM-3740 of the public CRC catalogue: check over 123456789 is 0x29B1


def test_crc_must_give_its_check_value(tmp_path):
    bench(tmp_path, BENCH.replace("layouts:\n", CRC, 1))

    (sentence,) = bench_mistakes(tmp_path, "layouts:\n", CRC.replace("0xFFFF", "0x0000"))
    assert "check value over 123456789 is 0x31C3" in sentence
    assert "CRC-16/IBM-3740" in sentence


def test_every_mistake_is_named_in_the_order_of_the_file(tmp_path):
    broken = BENCH.replace("number: 2", "number: two").replace("unit: bar", "unit: baar")
    broken = broken.replace("host: 127", "host: 327").replace("47902", "47901")

    with pytest.raises(DescriptionError) as caught:
        bench(tmp_path, broken.replace("unit: count", "unit: cuont"))

    lines = [mistake.mark.line for mistake in caught.value.mistakes]
    assert len(lines) == 5
    assert lines == sorted(lines)


def test_missing_file_is_a_mistake_too(tmp_path):
    with pytest.raises(DescriptionError, match="cannot be read: No such file"):
        read_rack(tmp_path / "none.yaml")


def test_long_poll_is_the_sampling(tmp_path):
    rack = bench(tmp_path, BENCH.replace("poll: 50 ms", "poll: 1 s"))

    assert rack.signals()["slow.tally"].sampling == SECOND


ORDERS = """\
layouts:
  odd-reading:
    role: reading
    order: little
    fields:
      - {name: kind, type: u8, constant: 0x39}
      - {name: swapped, type: u32, order: [2, 3, 0, 1]}
      - {name: small, type: u24}
      - {name: plain, type: u16, order: big}
      - type: u8
        bits:
          - {name: ready, shift: 0, width: 1, labels: {0: waiting, 1: ready}}
          - {name: rest, shift: 1, width: 7}
      - {type: pad, size: 2}
    examples:
      - bytes: 39 E6 80 47 C5 03 02 01 01 02 05 00 00
        values: {swapped: 0x47C5E680, small: 0x010203, plain: 258, ready: ready, rest: 2}
"""


def test_octet_orders_and_bits(tmp_path):
    # 101325.0 as f32 is 47 C5 E6 80 (IEEE 754), here sent low word first
    text = BENCH.replace("layouts:\n", ORDERS, 1).replace(
        "layouts: [request, slow-reading]", "layouts: [request, slow-reading, odd-reading]"
    )
    layout = bench(tmp_path, text).nodes[1].layouts[2]

    assert [field.order for field in layout.fields[:5]] == [
        (0,),
        (2, 3, 0, 1),
        (2, 1, 0),
        (0, 1),
        (0,),
    ]
    assert layout.fields[4].form == "bits"
    assert [(part.name, shift, width) for part, shift, width in layout.fields[4].parts] == [
        ("ready", 0, 1),
        ("rest", 1, 7),
    ]
    assert layout.size == 13


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("[2, 3, 0, 1]", "[2, 3, 0, 0]", "each place from 0 to 3 must be there once"),
        ("[2, 3, 0, 1]", "[1, 0]", "order: 2 places for a field of 4 octets"),
        ("shift: 1, width: 7", "shift: 0, width: 7", "`rest` lies over other bits"),
        ("shift: 1, width: 7", "shift: 4, width: 7", "bits 4 to 10 are not in 8 bits"),
        ("constant: 0x39", "constant: 0x139", "constant: 313 does not fit into `u8`"),
        ("{type: pad, size: 2}", "{type: pad}", "a field of type `pad` needs `size`"),
        ("name: small", "name: plain", "`plain` is in this layout twice, first in line"),
        ("type: u24}", "type: u24, is: crc, crc: crc-b}", "there is no check `crc-b`"),
    ],
)
def test_field_mistake_is_named(tmp_path, old, new, expected):
    said = bench_mistakes(tmp_path, "layouts:\n", ORDERS.replace(old, new, 1))

    assert any(expected in sentence for sentence in said), said


def test_message_in_the_reference_is_real(tmp_path):
    (sentence,) = bench_mistakes(tmp_path, "unit: bar", "unit: baar")
    what, hint = sentence.split(" | try: ")

    shown = f"bench.yaml:{what}\n    try: {hint}\n"
    assert shown in (FIXTURES / "README.md").read_text("utf-8")


SEALED = """\
checks:
  crc-a: {width: 16, polynomial: 0x1021, start: 0xFFFF, reflect-in: no, reflect-out: no, final-xor: 0x0000, check: CHECK}
layouts:
  sealed:
    role: answer
    fields:
      - {name: request, type: u16, is: request}
      - {name: check, type: u16, is: crc, crc: crc-a}
    examples:
      - {bytes: 00 41 45 EA, values: {request: 65}}
"""


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        # 0x29B1 is the check value of CRC-16/IBM-3740 in the public catalogue of CRC algorithms
        ("layouts:\n", SEALED.replace("CHECK", "0x29B2"), "0x29"),
        ("unit: bar\n        scale: 0.01", "unit: bar\n        scale: 0", "scale: 0 would make"),
        ("unit: bar\n        scale: 0.01", "unit: bar\n        scale: x", "scale: `x`"),
        ("unit: bar\n        scale: 0.01", "unit: bar\n        scale: 0.01\n        offset: x", "offset: `x`"),
        ("range: 0 bar to 10 bar", "range: 0 bar", "range: `0 bar` is not a range"),
        ("position: {unit: deg", "position: {unit: degg", "unit `degg`"),
        ("layouts: [request, text-request, answer, probe-reading]", "layouts: [request, text-request, answer, probe-readin]", "there is no layout"),
        ("layouts: [request, slow-reading]", "layouts: [request, slow reading]", "`slow reading` is not a name"),
    ],
)  # fmt: skip
def test_a_wrong_declaration_is_one_mistake_whoever_uses_it(tmp_path, old, new, expected):
    (sentence,) = bench_mistakes(tmp_path, old, new)

    assert expected in sentence


def test_what_is_declared_rightly_is_no_mistake(tmp_path):
    assert bench_mistakes(tmp_path, "layouts:\n", SEALED.replace("CHECK", "0x29B1")) == []


def test_a_wrong_declaration_hides_no_mistake_of_its_users(tmp_path):
    old = "drive: {operation: 2, safe: 2.4 bar, actuator: no}"
    assert old in BENCH
    said = bench_mistakes(
        tmp_path,
        BENCH[
            BENCH.index("        scale: 0.01\n        range: 0 bar") : BENCH.index(old) + len(old)
        ],
        "        scale: 0\n        range: 0 bar to 10 bar\n"
        "        drive: {operation: 2, safe: 2.4, rate: 5 deg/s}",
    )

    assert [sentence.split(": ", 1)[1].split(":")[0] for sentence in said] == [
        "scale",
        "safe",
        "rate",
    ]
