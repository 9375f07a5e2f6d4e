"""Numbers with units: `4.8 bar`, `50 %`, `-45 deg`, exact from the file to the judge.

A quantity is a number, a blank and a unit.  What a unit means comes from pint; each distinct unit
is looked up once and kept as exact fractions (factor and offset to the base units), so that
212 °F is 100 °C and not 99.999...  A difference (a tolerance, a noise) scales and never offsets.

| text in the file     | as a value of a °C signal | as a tolerance of a °C signal |
|----------------------|---------------------------|-------------------------------|
| `300 K`              | 26.85                     | 300                           |
| `9 °F`               | -12.777...                | 5                             |
| `9 delta_degF`       | refused: a difference     | 5                             |
"""

import decimal
import re
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from hil.core.signal import EXACT, show_number
from hil.files.mistake import Misread, show
from hil.files.unit import Unit, read_unit

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_ALONE = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE]([+-]?\d+))?", re.ASCII)
_WHOLE = re.compile(rf"({_NUMBER})(?:\s+(\S.*)|([^\s\d].*))?", re.ASCII)
_COMMA = re.compile(r"([+-]?\d+),(\d+)\b(.*)")
_ENDLESS = re.compile(r"[+-]?\.?(inf|nan|infinity)\b.*", re.IGNORECASE)
_RANGE = re.compile(r"(.*\S)\s+to\s+(\S.*)")
_OF_VALUE = re.compile(r"(.*\S)\s+of\s+value")

_DIGITS_LIMIT = 40
_EXPONENT_LIMIT = 30
BARE_UNITS = frozenset({"count", "fraction"})
"""Units without a dimension, which may be left out."""


@lru_cache(maxsize=1 << 16)
def read_number(text: str) -> Decimal:
    """Read any ordinary spelling of a decimal number; raise Misread for anything else.

    >>> read_number("1e-3"), read_number("-.5")
    (Decimal('0.001'), Decimal('-0.5'))
    """
    match = _ALONE.fullmatch(text)
    if match is None:
        raise _no_number(text, "a number", "")
    if len(text) > _DIGITS_LIMIT:
        raise Misread(f"{show(text)} has more than {_DIGITS_LIMIT} characters (the limit)")
    if match[1] is not None and abs(int(match[1])) > _EXPONENT_LIMIT:
        raise Misread(f"{show(text)} is beyond 1e{_EXPONENT_LIMIT} (the limit)")
    return EXACT.create_decimal(text)


def split_quantity(text: str, example: str) -> tuple[Decimal, str]:
    """Split `4.8 bar` into its number and its unit; the unit is empty for a bare number."""
    match = _WHOLE.fullmatch(text.strip())
    if match is None or len(text) > 3 * _DIGITS_LIMIT:
        raise _no_number(text, f"a number with a unit such as `{example}`", example)
    number, unit, glued = match.groups()
    if glued:
        if glued[0] in ":._,xX":
            raise _no_number(text, f"a number with a unit such as `{example}`", example)
        raise Misread(f"{show(text)} needs a blank before the unit", f"{number} {glued}")
    return read_number(number), unit or ""


def _no_number(text: str, wanted: str, example: str) -> Misread:
    comma = _COMMA.fullmatch(text)
    if comma is not None:
        hint = f"{comma[1]}.{comma[2]}{comma[3]}"
        return Misread(f"{show(text)} has a decimal comma, expected a point", hint)
    if _ENDLESS.fullmatch(text):
        hint = "leave the end open with `above` or `below`" if example else ""
        return Misread(f"{show(text)} is no limit, expected {wanted}", hint)
    if text[:1] == "\u2212":
        return Misread(f"{show(text)} begins with a long minus sign", f"-{text[1:]}")
    return Misread(f"{show(text)} is not {wanted}")


@lru_cache(maxsize=1 << 16)
def value_in(text: str, unit: str) -> Decimal:
    """Return the value that `text` gives, in `unit`; exact, raises Misread.

    >>> value_in("212 °F", "°C")
    Decimal('100')
    """
    number, given = split_quantity(text, f"4.8 {unit}")
    if given == unit:
        return number
    if not given:
        return _bare(number, text, unit)
    source, target = _matching(given, unit, text)
    if source.difference and target.offset:
        raise Misread(f"{show(text)} is a difference, expected a value in {unit}")
    base = Fraction(number) * source.factor + source.offset
    return exact_decimal((base - target.offset) / target.factor)


@lru_cache(maxsize=1 << 12)
def difference_in(text: str, unit: str) -> Decimal:
    """Return the difference that `text` gives, in `unit`: it scales, but never offsets.

    >>> difference_in("9 °F", "°C")
    Decimal('5')
    """
    number, given = split_quantity(text, f"0.5 {unit}")
    if given == unit:
        return number
    if not given:
        return _bare(number, text, unit)
    source, target = _matching(given, unit, text)
    return exact_decimal(Fraction(number) * source.factor / target.factor)


def rate_in(text: str, unit: str) -> Decimal:
    """Return a rate of change in `unit` per second.

    >>> rate_in("90 deg/s", "deg")
    Decimal('90')
    """
    number, given = split_quantity(text, f"50 {unit}/s")
    if not given:
        raise Misread(f"{show(text)} has no unit", f"{text} {unit}/s")
    source, target = read_unit(given), read_unit(unit)
    if source.dimension != target.per_second():
        raise Misread(f"{show(text)} is not a rate of {unit}", f"write it in {unit}/s")
    return exact_decimal(Fraction(number) * source.factor / target.factor)


def split_range(text: str) -> tuple[str, str]:
    """Split `0 bar to 10 bar` into its two ends.

    >>> split_range("0 bar to 10 bar")
    ('0 bar', '10 bar')
    """
    match = _RANGE.fullmatch(text.strip())
    if match is None:
        raise Misread(f"{show(text)} is not a range", "write both ends: 1 bar to 2 bar")
    return match[1], match[2]


def split_relative(text: str) -> Decimal | None:
    """Return the fraction that `2 % of value` means; None where the text is not relative."""
    match = _OF_VALUE.fullmatch(text.strip())
    return None if match is None else value_in(match[1], "fraction")


def _bare(number: Decimal, text: str, unit: str) -> Decimal:
    if unit in BARE_UNITS:
        return number
    raise Misread(f"{show(text)} has no unit", f"{text} {unit}")


def _matching(given: str, unit: str, text: str) -> tuple[Unit, Unit]:
    source, target = read_unit(given), read_unit(unit)
    if source.dimension == target.dimension:
        return source, target
    if unit == "fraction":
        raise Misread(f"{show(text)} is no plain number", "write it without a unit, or in %")
    hint = f"{text[: -len(given)].strip()} {unit}" if given in _LETTERS.get(unit, "") else ""
    raise Misread(f"{show(text)} does not fit a signal in {unit}", hint or f"write it in {unit}")


_LETTERS = {"°C": "C", "degC": "C", "°F": "F", "degF": "F"}


def exact_decimal(value: Fraction) -> Decimal:
    """Return a fraction as a decimal: exact where it ends, else to the digits of EXACT."""
    with decimal.localcontext(EXACT):
        return Decimal(value.numerator) / Decimal(value.denominator)


def show_quantity(value: Decimal, unit: str) -> str:
    """Render an exact number with its unit: `4.80 bar`."""
    return f"{show_number(value)} {unit}" if unit else show_number(value)
