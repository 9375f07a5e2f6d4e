"""Exact numbers: fractions for everything that is rational, angles in degrees for the rest.

An angle is reduced exactly, in whole numbers, to an eighth of a turn before a float is made of it,
and the result is rounded to 15 significant digits.  So the sine of 180 degrees is 0, of 30 degrees
0.5, and of 10¹⁵ turns still what it is of none.
"""

import math
from decimal import Context, Decimal
from fractions import Fraction

_DIGITS = Context(prec=50, Emin=-999_999, Emax=999_999)


def as_decimal(number: Fraction) -> Decimal:
    """Return a fraction as a decimal: exact where it ends within 50 digits."""
    return _DIGITS.divide(Decimal(number.numerator), Decimal(number.denominator))


def wave(turns: int, of: int) -> Decimal:
    """Return the sine of `turns / of` turns, to 15 significant digits."""
    octant, rest = divmod(8 * (turns % of), of)
    if octant % 2:
        rest = of - rest  # counted back from the end of the octant
    angle = rest / of * (math.pi / 4)
    size = Decimal(f"{(math.cos if octant % 4 in (1, 2) else math.sin)(angle):.15g}")
    return -size if octant >= 4 and size else size


def sine(degrees: Fraction) -> Fraction:
    """Return the sine of an angle in degrees, to 15 significant digits."""
    return Fraction(wave(degrees.numerator, 360 * degrees.denominator))


def cosine(degrees: Fraction) -> Fraction:
    """Return the cosine of an angle in degrees, to 15 significant digits."""
    return sine(degrees + 90)


def direction(y: Fraction, x: Fraction) -> Fraction:
    """Return the angle of the point (x, y) in degrees, above −180 and up to 180; 0 for the origin.

    The order of the arguments is that of the usual atan2.
    """
    size = max(abs(y), abs(x))
    if not size:
        return Fraction(0)
    return _rounded(math.degrees(math.atan2(y / size, x / size)))


def square_root(number: Fraction) -> Fraction:
    """Return the square root, exactly where it is rational, else to more than 50 digits.

    Raises ValueError for a negative number.
    """
    if number < 0:
        raise ValueError("a negative number has no square root")
    top, bottom = math.isqrt(number.numerator), math.isqrt(number.denominator)
    if top * top == number.numerator and bottom * bottom == number.denominator:
        return Fraction(top, bottom)
    shift = 180 + number.denominator.bit_length()
    scaled = (number.numerator << (2 * shift)) // number.denominator
    return Fraction(math.isqrt(scaled), 1 << shift)


def _rounded(number: float) -> Fraction:
    return Fraction(Decimal(f"{number:.15g}"))
