"""Pass or fail, with the measurement uncertainty: decision rules of JCGM 106 and ILAC-G8.

    tolerance limits      |----------------------------------|
    acceptance limits         |--------------------------|            guarded: w = r U inside
    rejection limits   |------------------------------------------|   guarded: w = r U outside

| rule        | pass                       | fail                  | inconclusive                 |
|-------------|----------------------------|-----------------------|------------------------------|
| simple      | within the limits          | outside               | never                        |
| guarded     | within the acceptance ones | beyond the rejection  | between both                 |
| shared-risk | within the limits          | outside               | tolerance < 4 × (2 U) wide   |

U is the expanded uncertainty, k u with k = 2.  With r = 1 at most 2.3 % of what sits exactly on the
acceptance limit is wrong (ILAC-G8:09/2019: below 2.5 %).  The measurement capability index
T / (2 U) >= 4 below which risk is not shared any more is from memory (JCGM 106:2012).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from hil.alarms.search import Bracket
from hil.alarms.spec import Rule
from hil.core.verdict import Outcome

COVERAGE = 2.0
LEAST_CAPABILITY = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A measured value with its standard uncertainty u and its spread over `repeats`."""

    value: float
    u: float
    spread: float = 0.0
    repeats: int = 1

    @property
    def expanded(self) -> float:
        """U = 2 u."""
        return COVERAGE * self.u


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """The verdict, and the probability that the true value conforms (normal distribution)."""

    outcome: Outcome
    conforms: float
    guard_band: float


def estimate(
    brackets: Sequence[Bracket], count: float = 1.0, instrument_u: float = 0.0
) -> Estimate:
    """Combine repeated searches: mean of the middles, spread, and standard uncertainty.

    u² = spread² / n + (count / √12)² + instrument_u²: repeatability, the width of one bracket as
    a rectangular distribution (JCGM 100:2008, 4.3.7), and the stimulus.  Values are in counts
    times `count`.  Raises ValueError without a closed bracket.
    """
    closed = [
        (one.last_before, one.first_beyond)
        for one in brackets
        if one.last_before is not None and one.first_beyond is not None
    ]
    if not closed:
        raise ValueError("no search found both sides of the edge")
    middles = [count * (before + beyond) / 2 for before, beyond in closed]
    widest = max(abs(beyond - before) for before, beyond in closed)
    n = len(middles)
    mean = math.fsum(middles) / n
    variance = math.fsum((one - mean) ** 2 for one in middles) / (n - 1) if n > 1 else 0.0
    u = math.sqrt(variance / n + (count * widest) ** 2 / 12 + instrument_u**2)
    return Estimate(value=mean, u=u, spread=math.sqrt(variance), repeats=n)


def probability(value: float, u: float, low: float | None, high: float | None) -> float:
    """Return the probability that the true value lies within the limits (JCGM 106:2012, 7)."""
    if u == 0:
        return float((low is None or value >= low) and (high is None or value <= high))
    above = 1.0 if high is None else _normal((high - value) / u)
    below = 0.0 if low is None else _normal((low - value) / u)
    return above - below


def decide(
    measured: Estimate,
    low: float | None,
    high: float | None,
    rule: Rule,
    guard: float = 1.0,
) -> Decision:
    """Judge a measured value against tolerance limits, both inclusive, by the stated rule."""
    conforms = probability(measured.value, measured.u, low, high)
    inside = _within(measured.value, low, high, 0.0)
    simple = Outcome.PASS if inside else Outcome.FAIL
    if rule is Rule.SIMPLE:
        return Decision(outcome=simple, conforms=conforms, guard_band=0.0)
    if rule is Rule.SHARED:
        tolerable = low is None or high is None or _capable(high - low, measured.expanded)
        outcome = simple if tolerable else Outcome.INCONCLUSIVE
        return Decision(outcome=outcome, conforms=conforms, guard_band=0.0)
    band = guard * measured.expanded
    if _within(measured.value, low, high, band):
        outcome = Outcome.PASS
    elif _within(measured.value, low, high, -band):
        outcome = Outcome.INCONCLUSIVE
    else:
        outcome = Outcome.FAIL
    return Decision(outcome=outcome, conforms=conforms, guard_band=band)


def judge_trip(
    measured: Estimate,
    expected: Bracket,
    tolerance: Decimal,
    count: Decimal,
    rule: Rule,
    guard: Decimal = Decimal(1),
) -> Decision:
    """Judge a measured trip point against the bracket that the spec wants.

    Both are taken at the middle of their brackets, so that a node that trips at exactly the right
    count is off by nothing.  Without a tolerance the counts themselves must be equal.
    """
    if expected.last_before is None or expected.first_beyond is None:
        raise ValueError("the spec wants no trip point within the range")
    wanted = float(count) * (expected.last_before + expected.first_beyond) / 2
    off = measured.value - wanted
    if tolerance == 0:
        same = abs(off) < float(count) * 1e-9 and measured.spread == 0
        outcome = Outcome.PASS if same else Outcome.FAIL
        return Decision(outcome=outcome, conforms=float(same), guard_band=0.0)
    limit = float(tolerance)
    shifted = Estimate(value=off, u=measured.u, spread=measured.spread, repeats=measured.repeats)
    return decide(shifted, -limit, limit, rule, float(guard))


def _capable(tolerance: float, expanded: float) -> bool:
    return expanded == 0 or tolerance / (2 * expanded) >= LEAST_CAPABILITY


def _within(value: float, low: float | None, high: float | None, inwards: float) -> bool:
    """Return whether a value keeps `inwards` from both limits; a rounding error does not decide."""
    slack = 1e-12 * max(abs(one) for one in (value, low or 0.0, high or 0.0, inwards, 1e-300))
    return (low is None or value >= low + inwards - slack) and (
        high is None or value <= high - inwards + slack
    )


def _normal(z: float) -> float:
    return 0.5 * (1.0 + math.erf(z / math.sqrt(2.0)))
