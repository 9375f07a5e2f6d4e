"""How old a value is, as people read it at a glance."""

from hil.core.instant import MILLISECOND, SECOND

_MINUTE = 60 * SECOND


def show_age(age: int) -> str:
    """Render an age in nanoseconds: two or three digits, and never a fraction of a millisecond.

    >>> show_age(400_000), show_age(12_345_678), show_age(1_240_000_000), show_age(95 * 10**9)
    ('<1 ms', '12 ms', '1.2 s', '95 s')
    """
    if age < MILLISECOND:
        return "<1 ms"
    if age < SECOND:
        return f"{age // MILLISECOND} ms"
    if age < 10 * SECOND:
        return f"{age / SECOND:.1f} s"
    if age < 2 * _MINUTE:
        return f"{age // SECOND} s"
    if age < 120 * _MINUTE:
        return f"{age // _MINUTE} min"
    return f"{age // (60 * _MINUTE)} h"


def show_coarse_age(age: int) -> str:
    """Render an age in steps that the eye can follow in a live table.

    >>> show_coarse_age(99_000_000), show_coarse_age(340_000_000), show_coarse_age(12 * 10**9)
    ('<0.1 s', '0.3 s', '12 s')
    """
    if age < SECOND // 10:
        return "<0.1 s"
    if age < SECOND:
        return f"{age * 10 // SECOND / 10:.1f} s"
    return show_age(age)
