"""A datagram taken apart: fields, meanings, and the first octet that differs."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from wire.racks import FEEDLINE, LOUVRES, reading, sensor, signal_field

from hil.wire.dissection import dissect
from hil.wire.identifying import identify
from hil.wire.layout import Codec
from hil.wire.rack import Carries

REQUEST = Codec(FEEDLINE.layouts[0], FEEDLINE)
READING = Codec(FEEDLINE.layouts[2], FEEDLINE)


def crc(octets):
    """CRC-16, polynomial 1021, start FFFF, bit by bit (its check value 29B1 is the catalogue's)."""
    value = 0xFFFF
    for octet in octets:
        value ^= octet << 8
        for _ in range(8):
            value = (value << 1 ^ 0x1021 if value & 0x8000 else value << 1) & 0xFFFF
    return value


def sealed(body):
    return body + struct.pack(">H", crc(body))


def feedline_reading(pressure=480, temperature=215, state=1, kind=0x31, node=1):
    head = struct.pack(">BBHIH", kind, node, 700, 70_012, 1)
    return sealed(head + struct.pack(">hhB", pressure, temperature, state) + b"1.4")


def by_name(parts):
    return {part.name: part for part in parts}


def test_the_reference_crc_is_right():
    assert crc(b"123456789") == 0x29B1


def test_every_field_is_named_placed_and_meant():
    parts = by_name(dissect(READING, feedline_reading()))

    assert (parts["pressure"].offset, parts["pressure"].size) == (10, 2)
    assert parts["pressure"].raw == "01e0"
    assert parts["pressure"].value == "4.80 bar"
    assert parts["temperature"].value == "21.5 °C"
    assert parts["uptime"].value == "70.01 s"
    assert parts["node"].value == "feedline"
    assert parts["firmware"].value == "1.4"
    assert (parts["pump"].value, parts["pump"].bits) == ("on", "bit 0")
    assert not any(part.wrong for part in parts.values())


def test_a_sentinel_is_no_measurement():
    parts = by_name(dissect(READING, feedline_reading(pressure=0x7FFF)))

    assert parts["pressure"].value == "no measurement: sentinel 0x7fff"


def test_the_value_of_a_request_is_that_of_the_signal_it_drives():
    body = struct.pack(">BBHBh", 0x21, 1, 65, 2, 480)
    parts = by_name(dissect(REQUEST, sealed(body)))

    assert parts["argument"].value == "4.80 bar"
    assert parts["operation"].value == "2: drive pressure"


def test_a_wrong_crc_says_which_one_it_should_be():
    payload = feedline_reading()
    broken = payload[:-1] + bytes([payload[-1] ^ 1])
    part = by_name(dissect(READING, broken))["check"]

    assert part.wrong.startswith(f"CRC over octets 0 to 17 is {crc(payload[:-2]):04x}, got")
    assert part.first == 18


def test_a_crc_of_another_start_value_is_recognised():
    """CRC-16 with start 0000 over 123456789 is 31C3 (public CRC catalogue)."""
    body = feedline_reading()[:-2]
    other = 0
    for octet in body:
        other ^= octet << 8
        for _ in range(8):
            other = (other << 1 ^ 0x1021 if other & 0x8000 else other << 1) & 0xFFFF
    part = by_name(dissect(READING, body + struct.pack(">H", other)))["check"]

    assert "it fits start value 0000" in part.wrong


def test_what_is_cut_off_is_missing_and_the_first_missing_octet_is_told():
    parts = dissect(READING, feedline_reading()[:11])
    wrong = {part.name: part.wrong for part in parts if part.wrong}

    assert wrong["pressure"] == "cut off"
    assert wrong["temperature"] == "missing"
    assert {part.first for part in parts if part.wrong} == {11}


def test_what_is_too_much_is_a_part_of_its_own():
    last = dissect(READING, feedline_reading() + b"\1\2")[-1]

    assert (last.offset, last.size, last.wrong) == (20, 2, "more than the layout has")


def test_a_crc_that_has_moved_to_the_end_is_recognised():
    longer = sealed(feedline_reading()[:-2] + b"\0")

    assert by_name(dissect(READING, longer))["check"].value == "the last octets fit octets 0 to 18"


def test_what_may_be_appended_is_not_wrong():
    node = sensor(reading(signal_field("t", "i16"), append=True))
    body = struct.pack(">BBHIh", 0x31, 3, 1, 1000, 215)
    parts = dissect(Codec(node.layouts[0], node), sealed(body) + b"\1")

    assert not any(part.wrong for part in parts)
    assert parts[-1].value == "appended, not looked at"


@given(st.binary(max_size=60))
def test_any_octets_are_taken_apart_without_a_gap(payload):
    for codec in (REQUEST, READING, Codec(LOUVRES.layouts[2], LOUVRES)):
        parts = dissect(codec, payload)
        covered = {at for part in parts for at in range(part.offset, part.offset + part.size)}

        assert covered == set(range(max(len(payload), codec.size)))


# --- which layout ---------------------------------------------------------------------------------


def test_the_layout_that_fits_comes_first():
    best = identify([FEEDLINE, LOUVRES], feedline_reading())[0]

    assert (best.codec.node.name, best.codec.layout.name, best.trouble) == (
        "feedline",
        "reading",
        "",
    )


def test_a_shared_layout_belongs_to_the_node_whose_number_it_bears():
    body = struct.pack(">BBHBh", 0x21, 17, 65, 2, 450)
    best = identify([FEEDLINE, LOUVRES], sealed(body))[0]

    assert (best.codec.node.name, best.fits) == ("louvres", True)


def test_a_number_that_no_node_has_fits_nothing():
    body = struct.pack(">BBHBh", 0x21, 99, 65, 2, 450)
    best = identify([FEEDLINE, LOUVRES], sealed(body))[0]

    assert best.trouble == "the datagram is of node 99, feedline is 1"
    assert best.first == 1


@pytest.mark.parametrize(
    ("payload", "nearest", "first", "trouble"),
    [
        (feedline_reading()[:-1], "reading", 19, "length 19, declared 20"),
        (feedline_reading(kind=0x32), "reading", 0, "kind holds 32, declared 31"),
        (sealed(feedline_reading()[:-2] + b"\0"), "reading", 20, "length 21, declared 20"),
        (feedline_reading()[:-2] + b"\0\0", "reading", 18, "CRC wrong: holds 00 00, should be"),
        (b"", "request", 0, "empty datagram"),
    ],
)
def test_where_a_datagram_first_differs_from_the_nearest_layout(payload, nearest, first, trouble):
    best = identify([FEEDLINE], payload)[0]

    assert not best.fits
    assert (best.codec.layout.name, best.first) == (nearest, first)
    assert trouble in best.trouble


@given(st.binary(max_size=60))
def test_any_octets_fit_or_are_told_why_not(payload):
    for attempt in identify([FEEDLINE, LOUVRES], payload):
        decoded = attempt.codec.decode(payload)
        strange = any(part.wrong for part in attempt.parts if part.carries is Carries.NODE)

        assert attempt.fits is (decoded is not None and not strange)
        assert attempt.fits or (attempt.first is not None and attempt.first <= len(payload))
