"""Robust slope of a series, and when it reaches a limit.

    slope      median of (y(j) − y(i)) / (x(j) − x(i)) over all pairs with different x
    line       through (median x, median y)
    bounds     the N slopes in order; the ones at the ranks (N ∓ z·s)/2, with
               s² = (n(n − 1)(2n + 5) − Σ t(t − 1)(2t + 5)) / 18, t the sizes of ties in x and in y

One value in four may be wild without any effect on the slope (its breakdown point is 29 %).
Source: Theil 1950; Sen 1968, Journal of the American Statistical Association 63, 1379-1389.
"""

import math
import statistics
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

LEAST = 5
"""With fewer points no bounds are worth telling."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """A line through points; the true slope lies between `low` and `high` with the confidence."""

    slope: float
    low: float
    high: float
    middle_x: float
    middle_y: float

    def at(self, x: float) -> float:
        """Return the line's height at x."""
        return self.middle_y + self.slope * (x - self.middle_x)

    @property
    def falls(self) -> bool:
        """Whether the series falls, beyond doubt."""
        return self.high < 0

    @property
    def rises(self) -> bool:
        """Whether the series rises, beyond doubt."""
        return self.low > 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """How far beyond the last point the limit is reached: likely, at the soonest, at the latest.

    `likely` is 0 where the line is beyond the limit already.
    """

    likely: float
    soonest: float
    latest: float


def theil_sen(xs: Sequence[float], ys: Sequence[float], confidence: float = 0.95) -> Slope:
    """Return the slope of y over x with its bounds.

    Raises ValueError where there are fewer than two different x, or lengths differ.
    """
    slopes = sorted(
        (y - other_y) / (x - other_x)
        for place, (x, y) in enumerate(zip(xs, ys, strict=True))
        for other_x, other_y in zip(xs[:place], ys[:place], strict=True)
        if x != other_x
    )
    if not slopes:
        raise ValueError("a slope takes two different places")
    z = statistics.NormalDist().inv_cdf((1 + confidence) / 2)
    reach = z * math.sqrt(max(0.0, _variance(xs, ys)))
    upper = min(round((len(slopes) + reach) / 2), len(slopes) - 1)
    lower = max(round((len(slopes) - reach) / 2) - 1, 0)
    return Slope(
        slope=statistics.median(slopes),
        low=slopes[lower],
        high=slopes[upper],
        middle_x=statistics.median(xs),
        middle_y=statistics.median(ys),
    )


def reach(slope: Slope, last_x: float, limit: float) -> Reach | None:
    """Return how far beyond `last_x` the line meets a limit; None where it does not go there.

    The bounds come from the steepest and the flattest line through the same middle.
    """
    distance = limit - slope.at(last_x)
    if not (slope.rises if limit > slope.middle_y else slope.falls):
        return None
    way = limit - slope.middle_y
    soonest, latest = sorted(
        slope.middle_x + way / steepness - last_x for steepness in (slope.low, slope.high)
    )
    return Reach(
        likely=max(0.0, distance / slope.slope),
        soonest=max(0.0, soonest),
        latest=max(0.0, latest),
    )


def _variance(xs: Sequence[float], ys: Sequence[float]) -> float:
    count = len(ys)
    whole = count * (count - 1) * (2 * count + 5)
    return (whole - _ties(xs) - _ties(ys)) / 18


def _ties(values: Iterable[float]) -> int:
    sizes = Counter(values).values()
    return sum(size * (size - 1) * (2 * size + 5) for size in sizes if size > 1)
