"""Decision rules: pass, fail or inconclusive, given how sure the reading is.

    tolerance limits      TL ├──────────────────────────────────┤ TU
    acceptance limits     AL     ├──────────────────────────┤ AU       AU = TU − w
    rejection limits   ├────────────────────────────────────────┤      TU + w

    simple acceptance     w = 0
    guarded acceptance    w = r · U                                    r = 1 is the usual one
    stated risk           pass where P(false accept) ≤ α, fail where P(false reject) ≤ α

A reading between acceptance and rejection limit is a conditional pass (inside the tolerance) or a
conditional fail (outside): inconclusive here.  The probability of conformity is specific to the
reading: P(TL ≤ Y ≤ TU) for Y normal about the reading with its standard uncertainty.

Sources: JCGM 106:2012 clauses 7 and 8 (from memory); ILAC-G8:09/2019 section 4.
"""

import math
from dataclasses import dataclass
from decimal import Decimal

from hil.core.signal import EXACT
from hil.core.verdict import Outcome
from hil.measure.uncertainty import Uncertainty


@dataclass(frozen=True, slots=True)
class SimpleAcceptance:
    """Pass within the tolerance limits, fail outside; the risk is shared."""


@dataclass(frozen=True, slots=True)
class GuardedAcceptance:
    """Keep a guard band of `multiple` times the expanded uncertainty off the tolerance limits."""

    multiple: Decimal = Decimal(1)

    def __post_init__(self) -> None:
        if self.multiple < 0:
            raise ValueError("a guard band cannot be negative")


@dataclass(frozen=True, slots=True)
class StatedRisk:
    """Pass where the probability of a false accept is at most `risk`."""

    risk: Decimal

    def __post_init__(self) -> None:
        if not 0 < self.risk < Decimal("0.5"):
            raise ValueError("a stated risk lies between 0 and 0.5")


Rule = SimpleAcceptance | GuardedAcceptance | StatedRisk


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """The outcome, the words of ILAC-G8 for it, and what it rests on.

    `conformity` is the specific probability that the true value is within the tolerance.
    `guard` is the guard band w; None where the rule states a risk.  `margin` is the distance to
    the acceptance limit as a fraction of half the acceptance interval (1 at its centre, 0 on the
    limit, negative outside); None with an open end, an empty interval or a stated risk.
    """

    outcome: Outcome
    statement: str
    conformity: float
    guard: Decimal | None
    margin: float | None

    @property
    def false_accept(self) -> float:
        """The specific risk that accepting this reading is wrong."""
        return 1 - self.conformity


def conformity(
    reading: Decimal, low: Decimal | None, high: Decimal | None, standard: Decimal
) -> float:
    """Return P(low ≤ Y ≤ high), Y normal about `reading`: Φ((TU − y)/u) − Φ((TL − y)/u).

    JCGM 106:2012 7.2.  With u = 0 it is 1 or 0, limits inclusive.
    """
    if standard < 0:
        raise ValueError("an uncertainty cannot be negative")
    if standard == 0:
        inside = (low is None or low <= reading) and (high is None or reading <= high)
        return 1.0 if inside else 0.0
    below = 0.0 if low is None else _tail((reading - low) / standard)
    above = 0.0 if high is None else _tail((high - reading) / standard)
    return max(0.0, 1 - below - above)


def guard_band(rule: Rule, uncertainty: Uncertainty) -> Decimal | None:
    """Return the guard band w of a rule; None where it states a risk instead."""
    match rule:
        case SimpleAcceptance():
            return Decimal(0)
        case GuardedAcceptance(multiple=multiple):
            return EXACT.multiply(multiple, uncertainty.expanded)
        case StatedRisk():
            return None


def can_pass(
    low: Decimal | None, high: Decimal | None, uncertainty: Uncertainty, rule: Rule
) -> bool:
    """Return whether any reading at all would pass: can this instrument tell?"""
    if low is None or high is None:
        return True
    guard = guard_band(rule, uncertainty)
    if guard is not None:
        return EXACT.subtract(high, low) >= 2 * guard
    centre = EXACT.divide(EXACT.add(low, high), Decimal(2))
    best = decide(centre, low=low, high=high, uncertainty=uncertainty, rule=rule)
    return best.outcome is Outcome.PASS


def decide(
    reading: Decimal,
    *,
    low: Decimal | None,
    high: Decimal | None,
    uncertainty: Uncertainty,
    rule: Rule,
) -> Decision:
    """Decide one reading against tolerance limits (inclusive); None is an open end.

    Raises ValueError where the limits leave nothing between them.
    """
    if low is not None and high is not None and low > high:
        raise ValueError("the lower tolerance limit is above the upper one")
    probability = conformity(reading, low, high, uncertainty.standard)
    guard = guard_band(rule, uncertainty)
    if guard is None:
        outcome, statement = _by_risk(probability, rule)
        margin = None
    else:
        outcome, statement = _by_guard(_room(reading, low, high), guard)
        margin = _margin(reading, low, high, guard)
    return Decision(
        outcome=outcome, statement=statement, conformity=probability, guard=guard, margin=margin
    )


def _by_guard(room: Decimal | None, guard: Decimal) -> tuple[Outcome, str]:
    if room is None or room >= guard:
        return Outcome.PASS, "pass"
    if room < -guard or guard == 0:
        return Outcome.FAIL, "fail"
    return Outcome.INCONCLUSIVE, "conditional pass" if room >= 0 else "conditional fail"


def _by_risk(probability: float, rule: Rule) -> tuple[Outcome, str]:
    risk = float(rule.risk) if isinstance(rule, StatedRisk) else 0.0
    if 1 - probability <= risk:
        return Outcome.PASS, "pass"
    if probability <= risk:
        return Outcome.FAIL, "fail"
    word = "conditional pass" if probability >= 0.5 else "conditional fail"
    return Outcome.INCONCLUSIVE, word


def _room(reading: Decimal, low: Decimal | None, high: Decimal | None) -> Decimal | None:
    """Return how far inside the nearer limit the reading is; negative outside."""
    rooms = []
    if low is not None:
        rooms.append(EXACT.subtract(reading, low))
    if high is not None:
        rooms.append(EXACT.subtract(high, reading))
    return min(rooms, default=None)


def _margin(
    reading: Decimal, low: Decimal | None, high: Decimal | None, guard: Decimal
) -> float | None:
    room = _room(reading, low, high)
    if low is None or high is None or room is None:
        return None
    half = EXACT.subtract(EXACT.divide(EXACT.subtract(high, low), Decimal(2)), guard)
    return float(EXACT.subtract(room, guard) / half) if half > 0 else None


def _tail(distance: Decimal) -> float:
    """Return the normal probability beyond `distance` standard deviations."""
    return 0.5 * math.erfc(float(distance) / math.sqrt(2))
