"""What is usual: level and spread of a series, so that the unusual can be told from it.

    level of single values      their mean
    spread of single values     mean |x(i) − x(i − 1)| / 1.128            d2 of pairs is 1.128
    is this one beyond them?    0.6745·(x − median)/MAD > 3.5

The spread comes from neighbours, so that a shift within the series does not widen it.
Sources: NIST/SEMATECH e-Handbook 6.3.2.2 (individuals chart, moving range); 1.3.5.17 (modified
Z-score of Iglewicz and Hoaglin).
"""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

PAIR = 1.128
"""d2 for ranges of two: the mean range of two normal values is 1.128 σ."""

BEYOND = 3.5
_NORMAL_QUARTILE = 0.6745


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """The level of a series in control, and the standard deviation of one value."""

    level: float
    sigma: float


def baseline(values: Sequence[float]) -> Baseline:
    """Return level and spread of two or more single values.  Raises ValueError for fewer."""
    if len(values) < 2:
        raise ValueError("a spread takes two values")
    ranges = [abs(after - before) for before, after in pairwise(values)]
    return Baseline(level=statistics.fmean(values), sigma=statistics.fmean(ranges) / PAIR)


def modified_z(value: float, others: Sequence[float]) -> float:
    """Return how far a value lies from the median of others, in robust standard deviations.

    Infinite where the others are all alike and the value is not.  Raises ValueError for none.
    """
    if not others:
        raise ValueError("nothing to compare with")
    middle = statistics.median(others)
    spread = statistics.median([abs(other - middle) for other in others])
    if spread == 0:
        return 0.0 if value == middle else math.copysign(math.inf, value - middle)
    return _NORMAL_QUARTILE * (value - middle) / spread


def is_above(value: float, others: Sequence[float]) -> bool:
    """Return whether a value lies above all others and beyond their spread."""
    return value > max(others) and modified_z(value, others) > BEYOND
