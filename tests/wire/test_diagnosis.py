"""Garbled datagrams and wrong values, explained in plain sentences."""

from decimal import Decimal

import pytest
from wire.racks import ANSWER, CRC_A, LOUVRES, TENTHS, constant, crc, number, reading, sensor
from wire.racks import signal_field as carried

from hil.core.plan import Limits
from hil.wire.crc import KNOWN, calculator
from hil.wire.diagnosis import diagnose
from hil.wire.hint import explain_ratio, explain_value
from hil.wire.layout import Codec
from hil.wire.rack import Carries, Crc, Encoding, Field, Layout, Role

I16 = reading(carried("t", "i16"))
R = Codec(I16, sensor(I16))
WHOLE = bytes.fromhex("31 03 00 10 00 01 8B E5 00 D7 A0 F5")


def say(octets, codec=R):
    octets = bytes.fromhex(octets)
    assert codec.decode(octets) is None
    return diagnose([codec], octets)


def test_padding_of_a_c_structure_is_explained():
    fields = (number("a", "u8"), number("b", "u32"), number("c", "u16"))
    layout = Layout(name="packed", role=Role.READING, fields=fields)
    codec = Codec(layout, sensor(layout))

    assert codec.decode(bytes.fromhex("01 00 01 8B E5 00 2A")) is not None
    assert say("01 00 00 00 00 01 8B E5 00 2A", codec) == (
        "length 10, declared 7; 3 octets of padding after field 1 would explain it"
    )
    assert say("01 00 00 00 00 01 8B E5 00 2A 00 00", codec) == (
        "length 12, declared 7; 3 octets of padding after field 1 "
        "and 2 octets of padding at the end would explain it"
    )


def test_packed_octets_for_a_padded_layout_are_explained():
    gap = Field(name="", form="pad", size=3, carries=Carries.PADDING)
    layout = Layout(
        name="native", role=Role.READING, fields=(number("a", "u8"), gap, number("b", "u32"))
    )

    text = say("01 00 01 8B E5", Codec(layout, sensor(layout)))

    assert text == "length 5, declared 8; without the declared padding it would fit"


@pytest.mark.parametrize(
    ("octets", "text"),
    [
        (WHOLE + bytes(6), "length 18, declared 12; 6 extra octets, all zero: padding?"),
        (WHOLE + bytes(3000), "length 3012, declared 12; 3000 extra octets, all zero"),
        (WHOLE + b"\x01" * 3000, "length 3012, declared 12; 3000 extra octets"),
        (WHOLE[:-1], "length 11, declared 12"),
        (b"", "empty datagram"),
    ],
)
def test_wrong_length_is_told_as_such(octets, text):
    assert text == say(octets.hex())


def test_other_crc_start_is_named():
    assert say("31 03 00 10 00 01 8B E5 FF 33 FF 99") == "CRC wrong; fits start value 0000"


def test_swapped_crc_octets_are_named():
    text = say("31 03 00 10 00 01 8B E5 00 D7 F5 A0")

    assert text == "CRC wrong; fits with the octets of the CRC swapped"


def test_unknown_crc_shows_the_octets_of_both():
    assert say("31 03 00 10 00 01 8B E5 00 D7 A0 F6") == "CRC wrong: holds A0 F6, should be A0 F5"


def test_the_octets_of_a_crc_are_shown_as_they_are_sent():
    # CRC-32 of 123456789 is CBF43926 (its published check value): little-endian 26 39 F4 CB.
    check = crc(KNOWN["CRC-32/ISO-HDLC"], order="little")
    covered = Field(name="text", form="bytes", size=9)
    layout = Layout(name="r", role=Role.READING, fields=(covered, check))

    text = say((b"123456789" + bytes(4)).hex(), Codec(layout, sensor(layout)))

    assert text == "CRC wrong: holds 00 00 00 00, should be 26 39 F4 CB"


def test_wrong_constant_is_named():
    assert say("32 03 00 10 00 01 8B E5 00 D7 A0 F5") == ("field 1 (kind) holds 32, declared 31")


def test_length_field_is_compared_with_the_datagram():
    fields = (constant(1), number("size", "u16", Carries.LENGTH))
    layout = Layout(name="r", role=Role.READING, fields=fields)

    text = say("01 00 05", Codec(layout, sensor(layout)))

    assert text == "length field says 5, the datagram has 3 octets"


def test_the_nearest_of_several_layouts_is_named():
    answer = Codec(ANSWER, LOUVRES)

    text = diagnose([R, answer], bytes.fromhex("22 11 00 41 02 00 03 84 98"))

    assert text == "length 9, declared 10 (answer)"


def test_crc_of_eight_bits_is_explained_too():
    eight = Crc(
        width=8,
        polynomial=0x07,
        start=0,
        reflect_in=False,
        reflect_out=False,
        final_xor=0,
        check=0xF4,
    )
    layout = Layout(name="r", role=Role.READING, fields=(number("a", "u8"), crc(eight)))
    wrong = bytes([5, calculator(CRC_A)(b"\x05") & 0xFF])

    assert "CRC wrong" in say(wrong.hex(), Codec(layout, sensor(layout)))


def limits(low, high):
    return Limits(low=Decimal(low), high=Decimal(high))


def test_factor_between_hectopascal_and_kilopascal_is_named():
    layout = reading(carried("t", "f32"))
    node = sensor(layout, Encoding(), unit="kPa", node=7)
    frame = bytes.fromhex("31 07 00 20 00 01 8B E5 44 7D 50 00 D7 0E")

    text = explain_value(node, frame, "node.t", limits("100.3", "102.3"))

    assert text == "raw 1013.25; x10 too large: fits as hPa"


def test_unsigned_reading_of_a_negative_number_shows_both():
    layout = reading(carried("t", "u16"))
    encoding = Encoding(scale=Decimal("0.1"), low=-400, high=1250)
    node = sensor(layout, encoding, low=Decimal(-40), high=Decimal(125))
    frame = bytes.fromhex("31 03 00 10 00 01 8B E5 FF 33 1E A0")

    text = explain_value(node, frame, "t", limits("-21", "-20"))

    assert text == "raw 0xff33; read as signed it is -20.5 °C"


def test_little_endian_float_read_as_big_is_plausible_the_other_way():
    layout = reading(carried("t", "f32"))
    node = sensor(layout, Encoding(high=2000), unit="kPa", node=7)
    frame = bytes.fromhex("31 07 00 10 00 01 8B E5 66 A6 CA 42 F3 E9")

    reading_ = Codec(layout, node).decode(frame).readings[0]
    text = explain_value(node, frame, "t", limits("100.3", "102.3"))

    # 66 A6 CA 42 as IEEE 754 binary32, big-endian, is 3.938e23.
    assert reading_.note.startswith("3.938219e+23 kPa is implausible, outside the declared range")
    assert text == "raw 3.938219e+23; plausible if read little-endian: 101.325 kPa"


@pytest.mark.parametrize(
    ("octets", "words"),
    [("A6 66 42 CA", "with its words swapped"), ("CA 42 66 A6", "with the octets of its words")],
)
def test_swapped_words_and_octets_are_recognised(octets, words):
    layout = Layout(name="r", role=Role.READING, fields=(carried("t", "f32"),))
    node = sensor(layout, Encoding(), unit="kPa")

    text = explain_value(node, bytes.fromhex(octets), "t", limits("100.3", "102.3"))

    assert f"plausible if read {words}" in text


def i16_in_tenths(raw, wanted, *, low=Decimal(-100), high=Decimal(3000)):
    """Return what is said of an i16 in tenths of a degree that was not what was wanted."""
    layout = Layout(name="r", role=Role.READING, fields=(carried("t", "i16"),))
    node = sensor(layout, Encoding(scale=Decimal("0.1")), low=low, high=high)
    return explain_value(node, bytes.fromhex(raw), "t", wanted)


@pytest.mark.parametrize(
    "wanted",
    [
        Limits(low=None, high=Decimal(20)),  # anything below
        Limits(low=Decimal(30), high=None),  # anything above
        limits("40", "600"),  # a wide window: 5601 of 65536 raw numbers are in it
        limits("20", "60"),  # it is where it should be: something else was wrong
    ],
)
def test_a_value_that_can_be_measured_is_what_was_measured(wanted):
    """0102 is 25.8 and 51.3 the other way round: both can be."""
    assert "plausible" not in i16_in_tenths("01 02", wanted)


def test_a_value_that_is_exactly_right_the_other_way_round_is_told_so():
    said = i16_in_tenths("01 02", limits("51", "52"))

    assert said == "raw 0x0102; plausible if read little-endian: 51.3 °C"


def test_a_value_that_cannot_be_measured_is_looked_at_the_other_way_round():
    below = Limits(low=None, high=Decimal(20))
    said = i16_in_tenths("D7 00", below, low=Decimal(-40), high=Decimal(125))

    assert said == "raw 0xd700; plausible if read little-endian: 21.5 °C"


@pytest.mark.parametrize(
    ("got", "window", "unit", "hint"),
    [
        ("0.45", ("42", "48"), "%", "looks like a fraction shown as %"),
        ("45", ("0.42", "0.48"), "fraction", "looks like a percentage shown as a fraction"),
        ("0.0045", ("42", "48"), "%", "10000 times too small"),
        ("480", ("4.75", "4.85"), "V", "100 times too large"),
        ("0.7854", ("44", "46"), "deg", "fits as rad"),
        ("480", ("4.75", "4.85"), "bar", "x100 too large: fits as kPa"),
        ("-450", ("-46", "-44"), "deg", "10 times too large"),
    ],
)
def test_known_ratios_are_named(got, window, unit, hint):
    low, high = map(Decimal, window)

    assert explain_ratio(Decimal(got), (low, high), unit) == [hint]


@pytest.mark.parametrize(
    ("got", "window"), [("45", ("-5", "50")), ("500", ("1", "100")), ("0", ("4", "5"))]
)
def test_a_window_that_says_nothing_gives_no_hint(got, window):
    assert explain_ratio(Decimal(got), (Decimal(window[0]), Decimal(window[1]))) == []


def test_value_of_an_unreadable_datagram_is_not_explained():
    node = sensor(I16, TENTHS)

    assert explain_value(node, b"\x31", "t", limits("1", "2")) == ""
    assert explain_value(node, WHOLE, "other", limits("1", "2")) == ""
