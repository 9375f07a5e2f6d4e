"""Worked examples are checked in both directions."""

from dataclasses import replace
from decimal import Decimal

import pytest
from wire.racks import REQUEST, TENTHS, reading, signal_field

from hil.wire.example import check_examples
from hil.wire.rack import Encoding, Example

I16 = reading(signal_field("t", "i16"))
FRAME = bytes.fromhex("31 03 00 10 00 01 8B E5 FF 33 1E A0")
VALUES = {
    "node": Decimal(3),
    "sequence": Decimal(16),
    "uptime": Decimal(101349),
    "t": Decimal("-20.5"),
}


def check(layout, raw, values, **encodings):
    layout = replace(layout, examples=(Example(raw=raw, values=values),))
    return check_examples(layout, encodings or {"t": TENTHS})


def test_right_examples_have_no_problem():
    request = bytes.fromhex("21 11 00 41 02 03 84 8A 6A")
    values = {"node": Decimal(17), "request": Decimal(0x41), "argument": Decimal(900)}

    assert check(I16, FRAME, VALUES) == []
    assert check(REQUEST, request, values) == []


@pytest.mark.parametrize(
    ("raw", "change", "problem"),
    [
        (FRAME, {"t": Decimal("-20.6")}, "t is -20.5 in these octets, declared -20.6"),
        (
            FRAME,
            {"t": Decimal("-205")},
            "t is -20.5 in these octets, declared -205; 10 times too small",
        ),
        (
            FRAME,
            {"t": Decimal("1331.1")},  # 33 FF
            "t is -20.5 in these octets, declared 1331.1; plausible if read little-endian: 1331.1",
        ),
        (FRAME, {"uptime": Decimal(1)}, "uptime is 101349 in these octets, declared 1"),
        (FRAME, {"pressure": Decimal(1)}, "there is no field pressure"),
        (FRAME[:-1], {}, "length 11, declared 12"),
        (
            bytes.fromhex("31 03 00 10 00 01 8B E5 FF 33 FF 99"),
            {},
            "CRC wrong; fits start value 0000",
        ),
    ],
)
def test_wrong_example_is_told(raw, change, problem):
    assert check(I16, raw, VALUES | change) == [f"example 1: {problem}"]


def test_example_of_a_sentinel_gives_the_raw_number():
    frame = bytes.fromhex("31 03 00 12 00 01 8C AD 7F FF 98 3A")
    sentinel = Encoding(scale=Decimal("0.1"), sentinels=((0x7FFF, 0x7FFF),))

    assert check(I16, frame, {"t": Decimal(0x7FFF)}, t=sentinel) == []
    assert check(I16, frame, {"t": Decimal("3276.7")}, t=sentinel) == [
        "example 1: t is no measurement in these octets (sentinel 0x7fff), declared 3276.7"
    ]
