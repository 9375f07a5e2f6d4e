"""`rule`: an expectation on a number, decided with how sure the reading is.

Two machines watch the same samples: one for the acceptance limits, one for the rejection limits.

    within, hold, during    pass when the first is satisfied, fail when the second is not
    never                   the other way round: pass when the second never is, fail when the first is
    else                    inconclusive: a conditional pass or fail (ILAC-G8:09/2019)
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from hil.core.condition import show_got
from hil.core.expectation import Figure, Finding, Watch
from hil.core.instant import Instant
from hil.core.meter import Meter
from hil.core.observation import Observation, Samples
from hil.core.plan import Expectation, Limits
from hil.core.scene import Scene
from hil.core.signal import Sample, Signal, show_value
from hil.core.verdict import Outcome
from hil.core.watching import watch_for
from hil.core.wording import saying
from hil.measure.acceptance import Ruling
from hil.measure.decision import (
    Decision,
    GuardedAcceptance,
    Rule,
    SimpleAcceptance,
    StatedRisk,
)

_NOTHING = Limits(low=Decimal(1), high=Decimal(0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruled:
    """Tolerance limits, the rule, and the half-width of the stimulus' own uncertainty."""

    limits: Limits
    rule: Rule
    stimulus: Decimal = Decimal(0)

    def begin(self, scene: Scene, expectation: Expectation, now: Instant) -> Sequence[Meter]:
        """Return one meter for each signal."""
        return [
            RuledMeter(self, scene, expectation, scene.signals[path])
            for path in expectation.signals
        ]


class RuledMeter:
    """The machine for one signal."""

    def __init__(
        self, measure: Ruled, scene: Scene, expectation: Expectation, signal: Signal
    ) -> None:
        self.expectation = expectation
        self.signal = signal
        self.before: Sample | None = None
        self.seen = 0
        self._scene = scene
        self._ruling = Ruling(
            rule=measure.rule,
            low=measure.limits.low,
            high=measure.limits.high,
            signal=signal,
            stimulus=measure.stimulus,
        )
        self._target = measure.limits.target
        self._proving: Watch | None = None
        self._refuting: Watch | None = None
        self._told: Finding | None = None

    def stimulated(self, at: Instant) -> None:
        """Begin to watch."""
        self.before = self._scene.latest.get(self.signal.path)
        accepted = self._ruling.accepted() or _NOTHING
        standing = self._ruling.not_rejected()
        if self.expectation.timing.never is not None:
            accepted, standing = standing, accepted
        self._proving, self._refuting = (
            watch_for(self._asked(limits), self.signal, at, self.before)
            for limits in (accepted, standing)
        )

    def _asked(self, limits: Limits) -> Expectation:
        condition = replace(limits, target=self._target)
        return replace(self.expectation, condition=condition, measure=None)

    @property
    def finding(self) -> Finding | None:
        """How it ended."""
        if self._told is None and self._proving is not None and self._refuting is not None:
            self._told = self._decide(self._proving.finding, self._refuting.finding)
        return self._told

    @finding.setter
    def finding(self, finding: Finding | None) -> None:
        self._told = finding

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take in the samples of the signal."""
        if isinstance(seen, Samples):
            for sample in seen.samples:
                if sample.signal == self.signal.path:
                    for watch in self._watches:
                        watch.receive(sample, now)
                        self.seen = max(self.seen, watch.seen)

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        for watch in self._watches:
            watch.tick(now)

    def next_wakeup(self) -> Instant | None:
        """Return when silence would decide something."""
        if self.finding is not None:
            return None
        due = [watch.next_wakeup() for watch in self._watches]
        return min((at for at in due if at is not None), default=None)

    def take_sends(self) -> tuple[()]:
        """Return nothing: a meter only listens."""
        return ()

    @property
    def _watches(self) -> list[Watch]:
        if self._proving is None or self._refuting is None or self._told is not None:
            return []
        return [self._proving, self._refuting]

    # --- the verdict ---------------------------------------------------------------------------

    def _decide(self, proof: Finding | None, refutation: Finding | None) -> Finding | None:
        if proof is not None and proof.outcome is Outcome.PASS:
            return self._tell(proof, Outcome.PASS)
        if refutation is not None and refutation.outcome is Outcome.FAIL:
            return self._tell(refutation, Outcome.FAIL)
        if proof is None or refutation is None:
            return None
        if proof.outcome is Outcome.INCONCLUSIVE:
            return self._tell(proof, Outcome.INCONCLUSIVE)
        return self._tell(proof, Outcome.INCONCLUSIVE, doubtful=True)

    def _tell(self, found: Finding, outcome: Outcome, *, doubtful: bool = False) -> Finding:
        sample = found.decided
        reading = None if sample is None else sample.value
        said = saying(self.expectation, self.signal, found, self.before)
        figures: tuple[Figure, ...] = ()
        words = _name(self._ruling.rule)
        if isinstance(reading, Decimal):
            decision = self._ruling.decide(reading)
            told, figures = self._facts(reading, decision)
            words = f"{words}, {told}"
            if doubtful:
                got = show_got(sample, self.signal)
                said = f"was {got}, a {decision.statement}, wanted {self.expectation.wanted}"
        return replace(
            found,
            why="measured",
            outcome=outcome,
            said=f"{said} ({words})",
            margin=None if outcome is Outcome.INCONCLUSIVE else found.margin,
            figures=figures,
        )

    def _facts(self, reading: Decimal, decision: Decision) -> tuple[str, tuple[Figure, ...]]:
        expanded = self._ruling.uncertainty(reading).expanded
        shown = show_value(Decimal(f"{expanded:.3g}"), self.signal)
        guard = ""
        if decision.guard:
            guard = f", guard band {show_value(Decimal(f'{decision.guard:.3g}'), self.signal)}"
        sure = 100 * decision.conformity
        number, spread = float(reading), float(expanded)
        figures = (
            Figure("reading", number - spread, number, number + spread, self.signal.unit),
            Figure("conformity", sure, sure, sure, "%"),
        )
        return f"U = {shown}{guard}, conforms with {sure:.3g} %", figures


def _name(rule: Rule) -> str:
    match rule:
        case SimpleAcceptance():
            return "simple acceptance"
        case GuardedAcceptance():
            return "guarded acceptance"
        case StatedRisk(risk=risk):
            return f"stated risk of {100 * risk:f} %"
