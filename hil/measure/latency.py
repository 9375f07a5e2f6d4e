"""Latency percentiles, with bounds that hold for any distribution.

The p-th percentile q of the true distribution, from n latencies sorted x(1) ≤ … ≤ x(n).  How many
of n are at most q is binomial, so ranks carry the confidence:

    P(q ≤ x(u)) ≥ P(Bin(n, p) ≤ u − 1)            upper bound: the smallest such u
    P(x(l) ≤ q) ≥ P(Bin(n, p) ≥ l)                lower bound: the greatest such l

u ≤ n exists only where 1 − pⁿ ≥ c: for the 99th percentile at 95 % that takes 299 trials.  Ties
only add to the confidence.  The point estimate is RFC 7679 5.1's: the smallest latency with at
least p of all at or below it.

A lost packet is an infinite latency (RFC 7679 5), given as None.
Source of the bounds: David and Nagaraja, Order Statistics, 7.1 (from memory).
"""

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from hil.measure.proportion import zero_failure_trials

_SLACK = 1 + 1e-12  # 0.05 is not a binary fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Percentile:
    """A percentile and its one-sided bounds, each with the confidence by itself.

    In nanoseconds; None is infinite: a lost packet, or more than the trials can say.  `low` and
    `high` together hold with 1 − 2·(1 − confidence).
    """

    share: Decimal
    confidence: Decimal
    trials: int
    estimate: int | None
    low: int | None
    high: int | None
    high_supported: bool


def supports(trials: int, share: Decimal, confidence: Decimal) -> bool:
    """Return whether so many trials can bound a percentile from above at the confidence."""
    return trials >= least_trials(share, confidence)


def least_trials(share: Decimal, confidence: Decimal) -> int:
    """Return the smallest n with 1 − pⁿ ≥ c, which a bound from above takes."""
    return zero_failure_trials(share, confidence)


def upper_rank(trials: int, share: float, confidence: float) -> int | None:
    """Return the rank u (from 1) that is at least the percentile; None where no rank is."""
    from scipy.special import bdtrc

    doubt = (1 - confidence) * _SLACK
    ranks = range(1, trials + 1)
    place = bisect_left(ranks, True, key=lambda rank: bool(bdtrc(rank - 1, trials, share) <= doubt))
    return ranks[place] if place < trials else None


def lower_rank(trials: int, share: float, confidence: float) -> int | None:
    """Return the rank l (from 1) that is at most the percentile; None where no rank is."""
    from scipy.special import bdtr

    doubt = (1 - confidence) * _SLACK
    ranks = range(1, trials + 1)
    place = bisect_left(ranks, True, key=lambda rank: bool(bdtr(rank - 1, trials, share) > doubt))
    return ranks[place - 1] if place > 0 else None


def percentile(
    latencies: Sequence[int | None], share: Decimal, confidence: Decimal = Decimal("0.95")
) -> Percentile:
    """Return a percentile of latencies with its bounds; raises ValueError where there are none."""
    if not latencies:
        raise ValueError("no latencies")
    if not (0 < share < 1 and 0 < confidence < 1):
        raise ValueError("share and confidence lie between 0 and 1")
    ordered = _ordered(latencies)
    trials = len(ordered)
    upper = upper_rank(trials, float(share), float(confidence))
    lower = lower_rank(trials, float(share), float(confidence))
    return Percentile(
        share=share,
        confidence=confidence,
        trials=trials,
        estimate=ordered[max(1, math.ceil(share * trials)) - 1],
        low=0 if lower is None else ordered[lower - 1],
        high=None if upper is None else ordered[upper - 1],
        high_supported=upper is not None,
    )


def median(latencies: Sequence[int | None]) -> int | None:
    """Return the median, RFC 7679 5.2: the mean of the two in the middle where n is even."""
    if not latencies:
        raise ValueError("no latencies")
    ordered = _ordered(latencies)
    low, high = ordered[(len(ordered) - 1) // 2], ordered[len(ordered) // 2]
    return None if low is None or high is None else (low + high) // 2


def minimum(latencies: Sequence[int | None]) -> int | None:
    """Return the smallest latency, RFC 7679 5.3; None where all were lost."""
    return min((latency for latency in latencies if latency is not None), default=None)


def inverse_percentile(latencies: Sequence[int | None], threshold: int) -> Decimal:
    """Return the share of latencies at or below a threshold, RFC 7679 5.4; lost ones are not."""
    if not latencies:
        raise ValueError("no latencies")
    within = sum(latency is not None and latency <= threshold for latency in latencies)
    return Decimal(within) / Decimal(len(latencies))


def _ordered(latencies: Sequence[int | None]) -> list[int | None]:
    known = sorted(latency for latency in latencies if latency is not None)
    return [*known, *[None] * (len(latencies) - len(known))]
