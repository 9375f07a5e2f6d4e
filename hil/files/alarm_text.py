"""Typing the texts that only alarm specs have: colours, regions, segments, flash rates, ages."""

from decimal import Decimal

from hil.alarms.colour import read_hex
from hil.alarms.finding import CODES
from hil.alarms.indicator import Rgb
from hil.alarms.standard import REGIONS
from hil.core.instant import Duration
from hil.files.duration import read_duration
from hil.files.mistake import Misread, nearest, show
from hil.files.quantity import split_range, value_in
from hil.files.scalar import read_whole

DARK = "dark"
STEADY = "steady"
NEVER = "never"


def read_rgb(text: str) -> Rgb:
    """Read `#FFBF00` as three 8-bit codes."""
    try:
        return read_hex(text)
    except ValueError:
        raise Misread(f"{show(text)} is not red, green and blue", '"#FFBF00"') from None


def read_region(text: str) -> str:
    """Read the name of a chromaticity region of a standard, or `dark`."""
    if text in REGIONS or text == DARK:
        return text
    known = (*REGIONS, DARK)
    hint = nearest(text, known) or f"one of {', '.join(known)}"
    raise Misread(f"there is no region {show(text)}", hint)


def read_span(text: str) -> tuple[int, int]:
    """Read `3` or `2 to 4`.

    >>> read_span("2 to 4"), read_span("3")
    ((2, 4), (3, 3))
    """
    ends = split_range(text) if " to " in text else (text, text)
    first, last = (read_whole(end) for end in ends)
    if not 0 <= first <= last:
        raise Misread(f"{show(text)} is no number of segments", "2, or 2 to 4")
    return first, last


def read_rate(text: str) -> tuple[Decimal, Decimal]:
    """Read `steady`, `2 Hz` or `1.4 Hz to 2.8 Hz`, in hertz."""
    if text == STEADY:
        return Decimal(0), Decimal(0)
    ends = split_range(text) if " to " in text else (text, text)
    slowest, fastest = (value_in(end, "Hz") for end in ends)
    if not 0 < slowest <= fastest:
        raise Misread(f"{show(text)} is no flash rate", "steady, or 1.4 Hz to 2.8 Hz")
    return slowest, fastest


def read_age(text: str) -> Duration | str:
    """Read a duration from 1 ns up, or `never`."""
    if text == NEVER:
        return NEVER
    length = read_duration(text)
    if length == 0:
        raise Misread("expected more than 0 s, or `never`")
    return length


def read_code(text: str) -> str:
    """Read the code of a finding."""
    if text in CODES:
        return text
    raise Misread(f"there is no finding {show(text)}", "the codes that `hil alarms review` tells")
