"""Instants and durations are whole nanoseconds.

Float seconds judge about half of the answers that land exactly on a deadline as late, so no
float ever holds a time in this project.  An instant counts from an origin that only the bench
knows (the start of its clock); only differences between instants mean something.
"""

from typing import NewType

Instant = NewType("Instant", int)
"""A moment, in nanoseconds since the bench's origin."""

Duration = NewType("Duration", int)
"""A length of time, in nanoseconds."""

MICROSECOND = Duration(1_000)
MILLISECOND = Duration(1_000_000)
SECOND = Duration(1_000_000_000)
ZERO = Duration(0)


def after(start: Instant, length: Duration) -> Instant:
    """Return the instant that lies `length` after `start`."""
    return Instant(start + length)


def since(start: Instant, end: Instant) -> Duration:
    """Return how long it is from `start` to `end`; negative when `end` comes first."""
    return Duration(end - start)


def earliest(*wakeups: Instant | None) -> Instant | None:
    """Return the earliest of the given instants; None where all are None."""
    first: Instant | None = None
    for wakeup in wakeups:
        if wakeup is not None and (first is None or wakeup < first):
            first = wakeup
    return first


_STEPS = ((60 * SECOND, "min"), (SECOND, "s"), (MILLISECOND, "ms"), (MICROSECOND, "µs"), (1, "ns"))


def show_duration(length: Duration) -> str:
    """Render a duration for people: four significant digits at most, largest fitting unit.

    >>> show_duration(Duration(600_000_000))
    '600 ms'
    >>> show_duration(Duration(1_234_567))
    '1.235 ms'
    """
    if length == 0:
        return "0 ms"
    sign, size = ("-", -length) if length < 0 else ("", length)
    for step, unit in _STEPS[1:]:
        if size >= step:
            return f"{sign}{_four_digits(size, step)} {unit}"
    raise AssertionError("a positive whole number is at least 1 ns")


def _four_digits(size: int, step: int) -> str:
    whole = size // step
    places = max(0, 4 - len(str(whole)))
    text = f"{size / step:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
