"""Durations: `600 ms`, `1 min 30 s`, whole nanoseconds exactly.

The SI second, its thousandths and the two units of the clock; a fraction of a nanosecond and a
clock time (`1:30`) are refused.
"""

import re
from decimal import Decimal
from functools import lru_cache

from hil.core.instant import MICROSECOND, MILLISECOND, SECOND, Duration
from hil.core.signal import EXACT
from hil.files.mistake import Misread, show
from hil.files.quantity import read_number, split_quantity

_UNITS = {
    "h": 3600 * SECOND,
    "min": 60 * SECOND,
    "s": SECOND,
    "ms": MILLISECOND,
    "µs": MICROSECOND,
    "us": MICROSECOND,
    "ns": 1,
}
_SYNONYMS = {"μs": "us", "sec": "s", "hour": "h", "hours": "h", "minutes": "min", "seconds": "s"}
_PART = re.compile(r"\s*([^\s]+)\s+([^\W\d_]+)(?=\s|$)")
_CLOCK = re.compile(r"(\d{1,3}):(\d{1,2})(?::(\d{1,2}))?")
_LIMIT = 366 * 24 * 3600 * SECOND


@lru_cache(maxsize=1 << 16)
def read_duration(text: str) -> Duration:
    """Return a duration; raises Misread for anything that is none, or is negative.

    >>> read_duration("1 min 30 s")
    90000000000
    """
    total = Decimal(0)
    position, last = 0, Decimal(2 * _LIMIT)
    while position < len(text) and position < 100:
        part = _PART.match(text, position)
        if part is None:
            raise _no_duration(text)
        size = _UNITS.get(_SYNONYMS.get(part[2], part[2]))
        if size is None:
            raise Misread(f"{show(text)}: {show(part[2])} is not a unit of time", _near(part))
        if size >= last:
            raise Misread(f"{show(text)} is out of order", "largest unit first: 1 min 30 s")
        try:
            number = read_number(part[1])
        except Misread:
            raise _no_duration(text) from None
        total = EXACT.add(total, EXACT.multiply(number, Decimal(size)))
        position, last = part.end(), Decimal(size)
    return _whole(total, text)


def _whole(total: Decimal, text: str) -> Duration:
    if not text.strip() or len(text) > 100:
        raise _no_duration(text)
    if total < 0:
        raise Misread(f"{show(text)} is negative, expected a duration from 0 up")
    if total > _LIMIT:
        raise Misread(f"{show(text)} is longer than 366 days (the limit)")
    if total != total.to_integral_value(context=EXACT):
        raise Misread(f"{show(text)} is not a whole number of nanoseconds")
    return Duration(int(total))


def _near(part: re.Match[str]) -> str:
    folded = {unit.casefold(): unit for unit in _UNITS}
    unit = folded.get(part[2].casefold())
    return f"{part[1]} {unit}" if unit else "h, min, s, ms, us or ns"


def _no_duration(text: str) -> Misread:
    clock = _CLOCK.fullmatch(text)
    if clock is not None:
        first, second, third = int(clock[1]), int(clock[2]), clock[3]
        if third is not None:
            hint = f"{first} h {second} min {int(third)} s"
        else:
            hint = f"{60 * first + second} s or {first} min {second} s"
        return Misread(f"{show(text)} is a time on a clock, expected a duration", hint)
    try:
        _, unit = split_quantity(text, "150 ms")
    except Misread as error:
        return error
    if not unit:
        return Misread(f"{show(text)} has no unit", f"{text} ms or {text} s")
    return Misread(f"{show(text)} is not a duration", "write it as 150 ms or 1 min 30 s")
