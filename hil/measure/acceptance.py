"""From tolerance limits to acceptance and rejection limits, for one signal and one rule.

    fail   │ inconclusive │ pass                  pass │ inconclusive │ fail
    ───────┼──────┬───────┼─────────────────────────────┼───────┬──────┼─────
           RL     TL      AL                            AU      TU     RU

The limits are found by bisection with hil.measure.decision, because the uncertainty may depend on
the reading and a stated risk has no guard band of its own.
"""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from hil.core.plan import Limits
from hil.core.signal import EXACT, Accuracy, Signal
from hil.core.verdict import Outcome
from hil.measure.decision import Decision, Rule, decide
from hil.measure.uncertainty import Uncertainty, from_limit, reading_uncertainty

_HALVINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruling:
    """A decision rule at work on one signal; `stimulus` is the half-width of what was imposed."""

    rule: Rule
    low: Decimal | None
    high: Decimal | None
    signal: Signal
    stimulus: Decimal = Decimal(0)

    def uncertainty(self, reading: Decimal) -> Uncertainty:
        """Return how sure a reading is."""
        signal = self.signal
        return reading_uncertainty(
            reading,
            accuracy=accuracy_of(signal),
            low=signal.low,
            high=signal.high,
            resolution=signal.resolution,
            stimulus=from_limit(self.stimulus),
        )

    def decide(self, reading: Decimal) -> Decision:
        """Decide one reading."""
        uncertainty = self.uncertainty(reading)
        return decide(
            reading, low=self.low, high=self.high, uncertainty=uncertainty, rule=self.rule
        )

    def accepted(self) -> Limits | None:
        """Return between what readings pass; None where none does."""
        inside = self._inside()
        if self.decide(inside).outcome is not Outcome.PASS:
            return None

        def passes(reading: Decimal) -> bool:
            return self.decide(reading).outcome is Outcome.PASS

        low = None if self.low is None else _edge(inside, self.low, passes)
        high = None if self.high is None else _edge(inside, self.high, passes)
        return Limits(low=low, high=high)

    def not_rejected(self) -> Limits:
        """Return between what readings do not fail."""

        def stands(reading: Decimal) -> bool:
            return self.decide(reading).outcome is not Outcome.FAIL

        low = None if self.low is None else _edge(self.low, self._beyond(self.low, -1), stands)
        high = None if self.high is None else _edge(self.high, self._beyond(self.high, 1), stands)
        return Limits(low=low, high=high)

    def _inside(self) -> Decimal:
        """Return the reading that is the best there is."""
        if self.low is not None and self.high is not None:
            return EXACT.divide(EXACT.add(self.low, self.high), Decimal(2))
        if self.low is not None:
            return self._beyond(self.low, 1)
        return self._beyond(self.high or Decimal(0), -1)

    def _beyond(self, limit: Decimal, way: int) -> Decimal:
        """Return a reading far beyond a limit, as far as ten times what is in doubt there."""
        far = EXACT.multiply(Decimal(10 * way), self.uncertainty(limit).expanded)
        return EXACT.add(limit, far) if far else EXACT.add(limit, Decimal(way))


def accuracy_of(signal: Signal) -> Accuracy | None:
    """Return the accuracy statement of a signal."""
    if signal.accuracy_parts is not None:
        return signal.accuracy_parts
    return None if signal.accuracy is None else Accuracy(fixed=signal.accuracy)


def _edge(good: Decimal, bad: Decimal, test: Callable[[Decimal], bool]) -> Decimal:
    """Return the last good reading on the way from a good one to one that may be bad."""
    if test(bad):
        return bad
    for _ in range(_HALVINGS):
        middle = EXACT.divide(EXACT.add(good, bad), Decimal(2))
        if test(middle):
            good = middle
        else:
            bad = middle
    return good
