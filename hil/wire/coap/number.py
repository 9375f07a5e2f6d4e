"""Numbers in payloads: exact decimals, and never one that costs memory to look at."""

import struct
from decimal import Decimal, InvalidOperation

from hil.core.signal import EXACT

MAGNITUDE_LIMIT = 400
"""Numbers lie within 1e±400: beyond every IEEE 754 binary64, and still cheap to show."""


class Unreadable(ValueError):
    """A payload, or a value in it, cannot be understood; the text says why."""


def exact(text: str) -> Decimal:
    """Return the number that a text is, also NaN and infinity.  Raises Unreadable."""
    try:
        number = Decimal(text)
    except InvalidOperation:
        raise Unreadable("is no number") from None
    return bounded(number)


def bounded(number: Decimal) -> Decimal:
    """Return a number of at most 50 digits.  Raises Unreadable where its size is out of reason."""
    if not number.is_finite():
        return Decimal("NaN") if number.is_nan() else number
    if not number:
        return Decimal(0)
    if abs(number.adjusted()) > MAGNITUDE_LIMIT:
        raise Unreadable(f"holds a number beyond 1e{MAGNITUDE_LIMIT}")
    return EXACT.plus(number)


def of_float(number: float, binary32: bool = False) -> Decimal:
    """Return a binary fraction as a decimal.

    The shortest one that reads back the same, so that 20.3 is 20.3; of a binary32 the exact one,
    because a binary64 that holds one has no short form.
    """
    if number != number or number in (float("inf"), float("-inf")):
        return bounded(Decimal(repr(number)))
    return bounded(EXACT.create_decimal_from_float(number) if binary32 else Decimal(repr(number)))


def to_binary32(number: float) -> float:
    """Return the nearest binary32.  Raises OverflowError beyond its range."""
    nearest: float = struct.unpack(">f", struct.pack(">f", number))[0]
    return nearest
