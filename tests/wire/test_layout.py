"""Octets to values and back: worked frames, octet orders, odd sizes, sentinels, NaN.

The frames are of layouts R, Q and A in wire.racks.
"""

import math
import struct
from decimal import Decimal

import pytest
from wire.racks import (
    ANSWER,
    LOUVRES,
    REQUEST,
    TENTHS,
    constant,
    crc,
    number,
    reading,
    sensor,
    signal_field,
)

from hil.core.condition import Grade, grader
from hil.core.plan import Invalid, Limits, Not
from hil.core.signal import Sample, Validity
from hil.wire.encoding import WireError
from hil.wire.layout import Codec
from hil.wire.rack import Carries, Encoding, Field, Layout, Role

COUNTS = Encoding()
F32 = reading(signal_field("t", "f32"))
I16 = reading(signal_field("t", "i16"))
U16 = reading(signal_field("t", "u16"))


def decode(layout, octets, encoding=TENTHS, **signal):
    codec = Codec(layout, sensor(layout, encoding, **signal))
    decoded = codec.decode(bytes.fromhex(octets))
    assert decoded is not None
    return decoded


def test_reading_gives_header_and_value():
    got = decode(I16, "31 03 00 10 00 01 8B E5 FF 33 1E A0")

    assert (got.node, got.sequence, got.uptime) == (3, 0x10, 101_349_000_000)
    assert ("node.t", Decimal("-20.5"), Validity.VALID, "") == got.readings[0]


def test_request_is_encoded_octet_for_octet():
    codec = Codec(REQUEST, LOUVRES)

    sent = codec.encode(request=0x41, operation=2, value=Decimal(90))

    assert bytes.fromhex("21 11 00 41 02 03 84 8A 6A") == sent


def test_answer_is_decoded_with_the_signal_of_its_operation():
    got = Codec(ANSWER, LOUVRES).decode(bytes.fromhex("22 11 00 41 02 00 03 84 98 E4"))

    assert got is not None
    assert (got.node, got.request, got.operation, got.status) == (17, 0x41, 2, 0)
    assert ("louvres.angle", Decimal("90.0")) == got.readings[0][:2]


def test_negative_number_in_an_unsigned_field_is_outside_its_declared_range():
    encoding = Encoding(scale=Decimal("0.1"), low=-400, high=1250)

    got = decode(U16, "31 03 00 10 00 01 8B E5 FF 33 1E A0", encoding).readings[0]

    assert got.validity is Validity.INVALID
    assert got.note == (
        "6533.1 °C is outside the declared range -40.0 to 125.0 °C, raw 0xff33; "
        "read as signed it is -20.5 °C"
    )


@pytest.mark.parametrize(
    ("order", "octets"),
    [
        (None, "42 CA A6 66"),
        ("little", "66 A6 CA 42"),
        ((2, 3, 0, 1), "A6 66 42 CA"),
        ((1, 0, 3, 2), "CA 42 66 A6"),
    ],
)
def test_float_comes_in_four_octet_orders(order, octets):
    layout = Layout(name="r", role=Role.READING, fields=(signal_field("t", "f32", order=order),))
    codec = Codec(layout, sensor(layout, COUNTS))

    # 101.325 as IEEE 754 binary32 is 101.32499694824218750 exactly (computed with struct).
    wanted = Decimal("101.32499694824218750")
    assert wanted == codec.decode(bytes.fromhex(octets)).readings[0].value
    assert bytes.fromhex(octets) == codec.encode({"t": Decimal("101.325")})


def test_float_with_little_order_inside_a_big_frame():
    layout = reading(signal_field("t", "f32", order="little"))

    got = decode(layout, "31 07 00 10 00 01 8B E5 66 A6 CA 42 F3 E9", COUNTS)

    assert Decimal("101.32499694824218750") == got.readings[0].value


def test_binary32_keeps_every_digit_so_that_neighbours_differ():
    got = decode(F32, "31 07 00 10 00 01 8B E5 42 CA A6 66 CA FD", COUNTS).readings[0].value
    codec = Codec(F32, sensor(F32, COUNTS, node=7))
    frame = codec.encode({"t": Decimal("101.325")}, sequence=0x10, uptime=101_349_000_000)
    above = bytes.fromhex("31 07 00 10 00 01 8B E5 42 CA A6 67")
    above += crc().crc and struct.pack(">H", _crc(above))

    assert bytes.fromhex("31 07 00 10 00 01 8B E5 42 CA A6 66 CA FD") == frame
    assert got != codec.decode(above).readings[0].value


def _crc(octets):
    """Compute CRC-16/IBM-3740 bit by bit, independently of the project."""
    register = 0xFFFF
    for octet in octets:
        register ^= octet << 8
        for _ in range(8):
            register = (register << 1 ^ (0x1021 if register & 0x8000 else 0)) & 0xFFFF
    return register


# IEEE 754-2019 binary32 and binary64 encodings, big-endian (computed with Python's struct).
@pytest.mark.parametrize(
    ("value", "b32", "b64"),
    [
        (1.0, "3f800000", "3ff0000000000000"),
        (-2.0, "c0000000", "c000000000000000"),
        (0.1, "3dcccccd", "3fb999999999999a"),
        (0.15625, "3e200000", "3fc4000000000000"),
        (30.875, "41f70000", "403ee00000000000"),
        (23.1, "41b8cccd", "403719999999999a"),
        (65504.0, "477fe000", "40effc0000000000"),
        (101325.0, "47c5e680", "40f8bcd000000000"),
        (math.inf, "7f800000", "7ff0000000000000"),
        (-math.inf, "ff800000", "fff0000000000000"),
    ],
)
@pytest.mark.parametrize("form", ["f32", "f64"])
def test_float_octets_are_those_of_the_standard(value, b32, b64, form):
    octets = bytes.fromhex(b32 if form == "f32" else b64)
    layout = Layout(name="r", role=Role.READING, fields=(signal_field("t", form),))
    codec = Codec(layout, sensor(layout, COUNTS))

    got = codec.decode(octets).readings[0]

    if math.isinf(value):
        assert got[1:] == (None, Validity.INVALID, "infinity")
    else:
        assert octets == codec.encode({"t": got.value})
        assert math.isclose(value, float(got.value), rel_tol=2**-24)


# binary32 holds every whole number up to 16777216; 16777217 rounds to it (IEEE 754).
def test_binary32_rounds_the_first_whole_number_it_cannot_hold():
    layout = Layout(name="r", role=Role.READING, fields=(signal_field("t", "f32"),))
    codec = Codec(layout, sensor(layout, COUNTS))

    octets = codec.encode({"t": Decimal(16777217)})

    assert Decimal(16777216) == codec.decode(octets).readings[0].value


@pytest.mark.parametrize(
    ("octets", "sentinels", "note"),
    [
        ("31 03 00 12 00 01 8C AD 7F FF 98 3A", ((0x7FFF, 0x7FFF),), "sentinel 0x7fff"),
        ("31 03 00 12 00 01 8C AD 7F FB", ((0x7FF0, 0x7FFF),), "sentinel 0x7ffb"),
        ("31 03 00 12 00 01 8C AD 80 00", ((0x8000, 0x8000),), "sentinel 0x8000"),
    ],
)
def test_sentinel_is_invalid_and_passes_no_limit(octets, sentinels, note):
    octets = bytes.fromhex(octets)
    if len(octets) == 10:
        octets += struct.pack(">H", _crc(octets))

    got = decode(I16, octets.hex(), Encoding(scale=Decimal("0.1"), sentinels=sentinels))

    assert ("node.t", None, Validity.INVALID, note) == got.readings[0]
    assert grade(Limits(low=None, high=Decimal(4000)), got.readings[0]) is Grade.FAULT


def grade(condition, got):
    sample = Sample(got.signal, got.value, got.validity, 0, 0, got.note)
    return grader(condition)(sample)


@pytest.mark.parametrize("raw", [0xFFFE, 0x7FFE])
def test_number_next_to_a_sentinel_is_valid_but_noted(raw):
    octets = bytes.fromhex("31 03 00 12 00 01 8C AD") + struct.pack(">H", raw)
    octets += struct.pack(">H", _crc(octets))
    encoding = Encoding(sentinels=((0xFFFF, 0xFFFF), (0x7FFF, 0x7FFF)))

    got = decode(U16, octets.hex(), encoding).readings[0]

    assert ("node.t", Decimal(raw), Validity.VALID, "next to a sentinel") == got


@pytest.mark.parametrize(
    "condition",
    [
        Limits(low=None, high=Decimal(200), high_inclusive=False),
        Not(condition=Limits(low=Decimal(200), high=None, low_inclusive=False)),
        Limits(low=Decimal("100.3"), high=Decimal("102.3")),
    ],
)
def test_nan_is_a_sensor_fault_against_every_limit(condition):
    got = decode(F32, "31 07 00 11 00 01 8C 49 7F C0 00 00 21 C6", COUNTS).readings[0]

    assert got == ("node.t", None, Validity.INVALID, "NaN")
    assert grade(condition, got) is Grade.FAULT
    assert grade(Invalid(), got) is Grade.GOOD


@pytest.mark.parametrize(
    ("raw", "middle", "room", "wanted"),
    [
        (203, "20.0", "0.3", Grade.GOOD),
        (204, "20.0", "0.3", Grade.BAD),
        (1001, "100.0", "0.1", Grade.GOOD),
        (197, "20.0", "0.3", Grade.GOOD),
        (196, "20.0", "0.3", Grade.BAD),
    ],
)
def test_reading_exactly_on_a_limit_satisfies_it(raw, middle, room, wanted):
    octets = bytes.fromhex("31 03 00 12 00 01 8C AD") + struct.pack(">h", raw)
    octets += struct.pack(">H", _crc(octets))
    limits = Limits(low=Decimal(middle) - Decimal(room), high=Decimal(middle) + Decimal(room))

    assert wanted is grade(limits, decode(I16, octets.hex()).readings[0])


def test_appended_octets_are_refused_unless_allowed():
    octets = "31 03 00 10 00 01 8B E5 00 D7 A0 F5 00 00 00 00 00 00"
    strict = Codec(I16, sensor(I16))
    open_ended = reading(signal_field("t", "i16"), append=True)

    assert strict.decode(bytes.fromhex(octets)) is None
    got = decode(open_ended, octets)
    assert Decimal("21.5") == got.readings[0].value
    assert got.note == "6 octets more than the layout, not looked at"


def test_newer_firmware_may_put_a_field_before_the_crc():
    layout = reading(signal_field("t", "i16"), append=True)
    newer = bytes.fromhex("31 03 00 10 00 01 8B E5 00 D7 12 34")
    newer += struct.pack(">H", _crc(newer))

    assert Decimal("21.5") == decode(layout, newer.hex()).readings[0].value
    assert Codec(layout, sensor(layout)).decode(newer[:-1] + b"\0") is None


def test_bit_fields_give_labels_numbers_and_signed_parts():
    layout = Layout(
        name="r",
        role=Role.READING,
        fields=(
            Field(
                name="word",
                form="bits",
                size=2,
                order=(1, 0),
                parts=(
                    (signal_field("t", "u8"), 0, 4),
                    (number("step", "i8"), 4, 4),
                    (number("mode", "u8", labels={0: "rest", 5: "run"}), 8, 3),
                    (number("mark", "u8", Carries.CONSTANT, constant=0x15), 11, 5),
                ),
            ),
        ),
    )
    codec = Codec(layout, sensor(layout, COUNTS))
    octets = struct.pack("<H", 0x15 << 11 | 5 << 8 | 0xF << 4 | 9)

    got = codec.decode(octets)

    assert Decimal(9) == got.readings[0].value
    assert {"step": Decimal(-1), "mode": "run"} == got.plain
    assert octets == codec.encode({"t": Decimal(9), "step": Decimal(-1), "mode": "run"})
    assert codec.decode(struct.pack("<H", 0x14 << 11)) is None


def test_text_octets_length_and_padding():
    layout = Layout(
        name="r",
        role=Role.READING,
        fields=(
            number("size", "u16", Carries.LENGTH, order="little"),
            Field(name="t", form="text", size=6, carries=Carries.SIGNAL),
            Field(name="", form="pad", size=2, carries=Carries.PADDING),
            Field(name="tag", form="bytes", size=2),
            crc(order="little"),
        ),
    )
    codec = Codec(layout, sensor(layout, COUNTS))

    octets = codec.encode({"t": "20 °C", "tag": "c0de"})

    body = b"\x0e\x00" + "20 °C".encode() + b"\0\0" + b"\xc0\xde"
    assert body + struct.pack("<H", _crc(body)) == octets
    got = codec.decode(octets)
    assert (got.readings[0].value, got.plain) == ("20 °C", {"tag": "c0de"})
    dirty = body[:8] + b"\x01\x02" + body[10:]
    assert codec.decode(dirty + struct.pack("<H", _crc(dirty))) is not None
    wrong = b"\x0d" + body[1:]
    assert codec.decode(wrong + struct.pack("<H", _crc(wrong))) is None


def test_text_that_is_not_utf8_is_invalid():
    layout = Layout(
        name="r",
        role=Role.READING,
        fields=(Field(name="t", form="text", size=2, carries=Carries.SIGNAL),),
    )

    got = decode(layout, "ff fe", COUNTS).readings[0]

    assert got[1:] == (None, Validity.INVALID, "not UTF-8: fffe")


def test_label_without_a_name_is_invalid():
    layout = Layout(name="r", role=Role.READING, fields=(signal_field("t", "u8"),))
    encoding = Encoding(labels={0: "off", 1: "on"})

    assert decode(layout, "01", encoding).readings[0].value == "on"
    assert decode(layout, "07", encoding).readings[0][1:] == (
        None,
        Validity.INVALID,
        "no label for 7",
    )


@pytest.mark.parametrize(
    ("value", "problem"),
    [
        (Decimal("4.85"), "t: 4.85 falls between two counts, 4.8 and 4.9"),
        (Decimal("-4.85"), "t: -4.85 falls between two counts, -4.9 and -4.8"),
        (Decimal(3277), "t: 3277 does not fit into its field, raw 32770 of -32768 to 32767"),
        (Decimal("3276.7"), "t: 3276.7 is sent as 0x7fff, which is a sentinel"),
        (Decimal("NaN"), "t: NaN is no number"),
        (Decimal("1E+400"), "t: 1"),
        ("red", "t: no count is named 'red'"),
    ],
)
def test_value_without_an_exact_count_is_refused(value, problem):
    encoding = Encoding(scale=Decimal("0.1"), sentinels=((0x7FFF, 0x7FFF),))
    codec = Codec(I16, sensor(I16, encoding))

    with pytest.raises(WireError) as raised:
        codec.encode({"t": value})

    assert str(raised.value).startswith(problem)


def test_no_measurement_is_sent_as_the_first_sentinel_or_nan():
    encoding = Encoding(sentinels=((0x7FF0, 0x7FFF),))
    codec = Codec(I16, sensor(I16, encoding))
    fraction = Codec(F32, sensor(F32, COUNTS))
    without = Codec(I16, sensor(I16, COUNTS))

    assert codec.decode(codec.encode({"t": None})).readings[0].note == "sentinel 0x7ff0"
    assert fraction.decode(fraction.encode({"t": None})).readings[0].note == "NaN"
    with pytest.raises(WireError, match="has no sentinel"):
        without.encode({"t": None})


@pytest.mark.parametrize(
    "wrong", [{"node": 300}, {"operation": 1, "request": -1}, {"values": {}}], ids=str
)
def test_header_that_does_not_fit_is_refused(wrong):
    layout = I16 if "values" in wrong else REQUEST
    codec = Codec(layout, LOUVRES if layout is REQUEST else sensor(I16))
    values = wrong.pop("values", {"t": Decimal(1)})

    with pytest.raises(WireError):
        codec.encode(values, **wrong)


def test_counters_wrap_when_encoded():
    codec = Codec(I16, sensor(I16))

    got = codec.decode(
        codec.encode({"t": Decimal(0)}, sequence=0x10005, uptime=(2**32 + 7) * 1_000_000)
    )

    assert (got.sequence, got.uptime) == (5, 7_000_000)
    assert (codec.sequence_span, codec.uptime_span) == (2**16, 2**32 * 1_000_000)


def test_nearest_count_stays_inside_the_field():
    codec = Codec(I16, sensor(I16, Encoding(scale=Decimal("0.1"), low=-400, high=1250)))

    assert Decimal("4.8") == codec.nearest("t", Decimal("4.849"))
    assert Decimal("125.0") == codec.nearest("t", Decimal(3000))
    assert Decimal("-40.0") == codec.nearest("t", Decimal("-1E+80"))


def test_crc_as_part_of_a_bit_field_is_refused():
    part = number("check", "u8", Carries.CRC, crc=crc().crc)
    layout = Layout(
        name="r",
        role=Role.READING,
        fields=(constant(1), Field(name="b", form="bits", size=1, parts=((part, 0, 8),))),
    )

    with pytest.raises(WireError, match="octets of its own"):
        Codec(layout, sensor(layout))
