"""Units against published values; NIST SP 811 (2008) App. B.8 and the SI Brochure (9th ed.)."""

from decimal import Decimal

import pytest

from hil.files.mistake import Misread
from hil.files.quantity import (
    difference_in,
    rate_in,
    read_number,
    split_relative,
    value_in,
)


@pytest.mark.parametrize(
    ("text", "unit", "published"),
    [
        ("1 atm", "Pa", "101325"),  # SP 811 B.8: standard atmosphere, exact
        ("1 bar", "Pa", "100000"),  # SI Brochure table 8, exact
        ("0 °C", "K", "273.15"),  # SI Brochure 2.3.1: t/°C = T/K - 273.15, exact
        ("212 °F", "°C", "100"),  # SP 811 B.8: t/°C = (t/°F - 32)/1.8, exact
        ("-40 °F", "degC", "-40"),  # the same formula
        ("300 K", "degC", "26.85"),  # the same as above
        ("1 inch", "mm", "25.4"),  # SP 811 B.8, exact
        ("1 ft", "m", "0.3048"),  # SP 811 B.8, exact
        ("36 km/h", "m/s", "10"),  # SI Brochure table 8: 1 h = 3600 s
        ("1 klx", "lx", "1000"),  # SI prefix
        ("4800 mbar", "bar", "4.8"),  # SI prefix
        ("45 %", "fraction", "0.45"),  # per cent: SI Brochure 5.4.7
        ("0.45 fraction", "%", "45"),
        ("45 %RH", "%", "45"),
        ("5 count", "count", "5"),
        ("0.25", "fraction", "0.25"),
        ("1 turn", "deg", "360"),
        ("-40.5 dBm", "dBm", "-40.5"),
        ("7 pH", "pH", "7"),
    ],
)
def test_value_equals_the_published_one(text, unit, published):
    assert Decimal(published) == value_in(text, unit)


@pytest.mark.parametrize(
    ("text", "unit", "published"),
    [
        ("1 psi", "Pa", "6.894757E+03"),  # SP 811 B.8, seven digits
        ("1 mmHg", "Pa", "1.333224E+02"),  # SP 811 B.8, conventional
        ("1 inHg", "Pa", "3.386389E+03"),  # SP 811 B.8, conventional
        ("1 deg", "rad", "1.745329E-02"),  # SP 811 B.8
        ("1 rpm", "rad/s", "1.047198E-01"),  # SP 811 B.8
        ("1 knot", "m/s", "5.144444E-01"),  # SP 811 B.8
        ("1 °F", "K", "2.559278E+02"),  # SP 811 B.8: T/K = (t/°F + 459.67)/1.8
    ],
)
def test_value_rounds_to_the_published_one(text, unit, published):
    assert published == f"{float(value_in(text, unit)):.6E}"


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("9 °F", "°C", "5"),  # SP 811 B.8: 1 °F of temperature interval = 5/9 °C, exact
        ("1 K", "degC", "1"),
        ("9 delta_degF", "degC", "5"),
        ("2 delta °C", "degC", "2"),
        ("1 degC", "degF", "1.8"),
        ("5 %", "fraction", "0.05"),
    ],
)
def test_difference_scales_and_never_offsets(text, unit, expected):
    assert Decimal(expected) == difference_in(text, unit)


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("90 deg/s", "deg", "90"),
        ("90 °F/min", "degC", str(Decimal(5) / 6)[:10]),
        ("20 %/s", "fraction", "0.2"),
        ("600 rpm/s", "rpm", "600"),
    ],
)
def test_rate_is_per_second(text, unit, expected):
    assert str(rate_in(text, unit)).startswith(expected)


@pytest.mark.parametrize("text", ["1e3", "1.0e+3", "1.0E3", "1000", "+1000.", "1000.0"])
def test_number_takes_every_ordinary_spelling(text):
    assert Decimal(1000) == read_number(text)


@pytest.mark.parametrize(
    "text",
    ["1_000", "0x10", "12:30", "inf", ".nan", "1,5", "", "1e", "--1", "٣", "1e999", "9" * 50],
)
def test_number_refuses_anything_else(text):
    with pytest.raises(Misread):
        read_number(text)


@pytest.mark.parametrize(
    ("text", "unit", "what", "hint"),
    [
        ("1,5 bar", "bar", "decimal comma", "1.5 bar"),
        ("50%", "%", "needs a blank", "50 %"),
        ("20°C", "degC", "needs a blank", "20 °C"),
        ("20", "degC", "has no unit", "20 degC"),
        ("20 C", "degC", "does not fit", "20 degC"),
        ("5 V", "bar", "does not fit", "write it in bar"),
        ("5 baar", "bar", "not known", "bar"),
        ("3 Bar", "bar", "not known", "bar"),
        (".inf", "bar", "no limit", "`above` or `below`"),
        ("nan bar", "bar", "no limit", "`above` or `below`"),
        ("12:30", "bar", "not a number", ""),
        ("\u22125 bar", "bar", "long minus", "-5 bar"),
        ("5 count", "%", "does not fit", "write it in %"),
        ("45 %", "count", "does not fit", "write it in count"),
        ("1 rad", "fraction", "no plain number", "write it without a unit, or in %"),
        ("1 Hz", "rpm", "does not fit", "write it in rpm"),
        ("20 delta_degC", "degC", "is a difference", ""),
        ("5 bar bar", "bar", "not a unit", ""),
        ("5 m^99", "m", "not a unit", ""),
        ("5 __import__", "bar", "not a unit", ""),
        ("7 pH", "mH", "does not fit", "write it in mH"),
        ("3 dBm", "dB", "does not fit", "write it in dB"),
        ("1e999 bar", "bar", "beyond 1e30", ""),
    ],
)
def test_value_refuses_with_advice(text, unit, what, hint):
    with pytest.raises(Misread) as caught:
        value_in(text, unit)

    assert what in caught.value.what
    assert hint in caught.value.hint


def test_value_in_its_own_unit_keeps_its_digits():
    assert str(value_in("4.80 bar", "bar")) == "4.80"


def test_relative_tolerance_is_told_by_its_words():
    assert split_relative("2 % of value") == Decimal("0.02")
    assert split_relative("2 %") is None
