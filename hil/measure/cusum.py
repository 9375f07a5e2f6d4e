"""CUSUM control chart: small shifts add up until they are no longer small.

    high(i) = max(0, high(i − 1) + x(i) − target − k)
    low(i)  = max(0, low(i − 1) + target − k − x(i))           a signal where one exceeds h

k is half the shift that should be found (0.5 σ finds one of 1 σ), h is 4 to 5 σ.
Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 (tabular form).
"""

from collections.abc import Sequence
from dataclasses import dataclass

SLACK, LIMIT = 0.5, 5.0
"""k and h as multiples of the standard deviation."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CusumChart:
    """Both sums at each point, the limit, and the places (from 0) where one exceeds it."""

    high: tuple[float, ...]
    low: tuple[float, ...]
    limit: float
    risen: tuple[int, ...]
    fallen: tuple[int, ...]


def cusum_chart(
    values: Sequence[float], *, target: float, slack: float, limit: float
) -> CusumChart:
    """Chart values whose mean should be `target`; `slack` is k and `limit` is h, in their unit.

    Raises ValueError where one of them is negative.
    """
    if slack < 0 or limit < 0:
        raise ValueError("slack and limit are not negative")
    high = low = 0.0
    highs, lows = [], []
    for value in values:
        high = max(0.0, high + value - target - slack)
        low = max(0.0, low + target - slack - value)
        highs.append(high)
        lows.append(low)
    return CusumChart(
        high=tuple(highs),
        low=tuple(lows),
        limit=limit,
        risen=tuple(place for place, sum_ in enumerate(highs) if sum_ > limit),
        fallen=tuple(place for place, sum_ in enumerate(lows) if sum_ > limit),
    )
