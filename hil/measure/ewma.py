"""EWMA control chart: a slow drift shows long before a single value is out of line.

    z(i) = λ·x(i) + (1 − λ)·z(i − 1)                               z(0) is the target
    limits  target ± k·σ·√(λ/(2 − λ)·(1 − (1 − λ)^(2i)))           the exact ones, of point i
            target ± k·σ·√(λ/(2 − λ))                              where i is large

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

WEIGHT = 0.2
"""λ between 0.2 and 0.3 is the usual choice (6.3.2.4)."""

WIDTH = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class EwmaChart:
    """The average at each point with its limits, and the places (from 0) that are outside."""

    averages: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    outside: tuple[int, ...]


def ewma_chart(
    values: Sequence[float],
    *,
    target: float,
    sigma: float,
    weight: float = WEIGHT,
    width: float = WIDTH,
    early: bool = True,
) -> EwmaChart:
    """Chart values whose mean should be `target`, with the standard deviation `sigma` of one.

    `early` gives the first points their own, narrower limits.  Raises ValueError for a weight
    outside 0 to 1 or a negative sigma.
    """
    if not 0 < weight <= 1 or sigma < 0:
        raise ValueError("a weight lies between 0 and 1, a standard deviation is not negative")
    average, averages, reaches = target, [], []
    for place, value in enumerate(values, 1):
        average = weight * value + (1 - weight) * average
        averages.append(average)
        share = 1 - (1 - weight) ** (2 * place) if early else 1.0
        reaches.append(width * sigma * math.sqrt(weight / (2 - weight) * share))
    return EwmaChart(
        averages=tuple(averages),
        lower=tuple(target - reach for reach in reaches),
        upper=tuple(target + reach for reach in reaches),
        outside=tuple(
            place
            for place, (average, reach) in enumerate(zip(averages, reaches, strict=True))
            if abs(average - target) > reach
        ),
    )
