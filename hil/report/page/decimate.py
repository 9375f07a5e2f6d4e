"""Fewer points than pixels: of each column of a plot only where a line enters, its ends, its exit.

A drawn step line looks the same with these four as with all points of the column, so that a plot
of a million samples is no larger than one of a thousand.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple


class Column(NamedTuple):
    """What a line does within one column: `x` is where the column begins."""

    x: int
    first: float
    low: float
    high: float
    last: float


def columns(points: Iterable[tuple[float, float]]) -> Iterator[Column]:
    """Yield the columns of points whose x (in pixels) never goes back."""
    current: Column | None = None
    for x, y in points:
        column = int(x)
        if current is None or column != current.x:
            if current is not None:
                yield current
            current = Column(column, y, y, y, y)
        else:
            low, high = min(current.low, y), max(current.high, y)
            current = Column(column, current.first, low, high, y)
    if current is not None:
        yield current
