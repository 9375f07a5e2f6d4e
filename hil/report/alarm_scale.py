"""Scales of an alarm's picture: which part of the range is shown, and where a value lies in it."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

AROUND = 0.3
"""So much of the span of the points is shown on either side of them."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Values from `low` to `high` on a line from `left`, `width` long."""

    low: float
    high: float
    left: float
    width: float

    def at(self, value: float) -> float:
        """Return the place of a value; one off the scale is at its end."""
        share = (value - self.low) / (self.high - self.low)
        return self.left + self.width * min(1.0, max(0.0, share))

    def ticks(self) -> list[float]:
        """Return four to ten round values within the scale."""
        step = round_step(self.high - self.low)
        first = math.ceil(self.low / step - 1e-9)
        last = math.floor(self.high / step + 1e-9)
        return [number * step for number in range(first, last + 1)]


def number(text: str) -> float | None:
    """Return the number that a text is; None where it is none, or no finite one."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def around(values: Iterable[float], low: float, high: float, left: float, width: float) -> Scale:
    """Return a scale for the part of a range where the values are, with room at both ends."""
    known = [value for value in values if low <= value <= high] or [low, high]
    first, last = min(known), max(known)
    room = AROUND * (last - first) or 0.1 * (high - low) or 1.0
    begin, end = max(low, first - room), min(high, last + room)
    return Scale(begin, end if end > begin else begin + 1.0, left, width)


def round_step(span: float) -> float:
    """Return a round step of which four to ten make a span."""
    size = 10.0 ** (math.floor(math.log10(span)) - 1)
    return next(step for step in (size, 2 * size, 5 * size, 10 * size) if span / step <= 10)
