"""`relation`: an equation between signals must hold in time.

Each time one of the signals is seen the relation is judged on the values in force, and the answer
(it holds, it does not) is what `within`, `hold`, `during` and `never` are then asked about: the
same machines as for a single signal.  For `within` it counts once every signal has been seen after
the stimulus.  A sensor fault in one is a fault of the whole, and so is a division by zero.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from hil.core.expectation import Figure, Finding, Watch
from hil.core.instant import Duration, Instant, show_duration
from hil.core.meter import Meter
from hil.core.observation import Observation, Samples
from hil.core.plan import Expectation, OneOf
from hil.core.scene import Scene
from hil.core.signal import Kind, Sample, Signal, Validity, show_number
from hil.core.verdict import Outcome
from hil.core.watching import watch_for
from hil.measure.relation import Judgement, Relation

HOLDS, BROKEN = "holds", "does not hold"


@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """A relation, and the signal whose node answers for it: the first on its left side."""

    relation: Relation
    owner: str

    def begin(self, scene: Scene, expectation: Expectation, now: Instant) -> Sequence[Meter]:
        """Return the one meter."""
        return [HoldingMeter(self, scene, expectation)]


class HoldingMeter:
    """The machine of one relation, around the machine for a single signal."""

    def __init__(self, measure: Holding, scene: Scene, expectation: Expectation) -> None:
        self.expectation = expectation
        self.signal = scene.signals[measure.owner]
        self.before: Sample | None = None
        self.seen = 0
        self._relation = measure.relation
        self._scene = scene
        self._values: dict[str, Sample] = {}
        self._fresh: set[str] = set()
        self._watch: Watch | None = None
        self._judged: Judgement | None = None
        self._faulty = ""
        self._margins: list[float] = []
        self._start = Instant(0)
        self._told: Finding | None = None

    @property
    def finding(self) -> Finding | None:
        """How it ended, in words about the relation."""
        if self._told is None and self._watch is not None and self._watch.finding is not None:
            self._told = self._tell(self._watch.finding)
        return self._told

    @finding.setter
    def finding(self, finding: Finding | None) -> None:
        self._told = finding

    def stimulated(self, at: Instant) -> None:
        """Begin to judge."""
        self._start = at
        latest = self._scene.latest
        self._values = {path: latest[path] for path in self._relation.signals if path in latest}
        before = self._judge(at, at) if len(self._values) == len(self._relation.signals) else None
        if before is not None and before.validity is not Validity.VALID:
            before = None
        looks = [self._scene.signals[path].sampling or 0 for path in self._relation.signals]
        stand_in = Signal(
            node=self.signal.node,
            name=self.signal.name,
            kind=Kind.LABEL,
            labels=(HOLDS, BROKEN),
            sampling=Duration(max(looks)) if any(looks) else None,
        )
        asked = replace(self.expectation, condition=OneOf(values=(HOLDS,)), measure=None)
        self._watch = watch_for(asked, stand_in, at, before)

    def receive(self, seen: Observation, now: Instant) -> None:
        """Judge the relation anew where one of its signals was seen."""
        watch = self._watch
        if watch is None or watch.finding is not None or not isinstance(seen, Samples):
            return
        mine = [sample for sample in seen.samples if sample.signal in self._relation.signals]
        if not mine:
            return
        self._values |= {sample.signal: sample for sample in mine}
        self._fresh |= {sample.signal for sample in mine if sample.since >= self._start}
        whole = self._relation.signals
        counts = self._fresh >= whole or self.expectation.timing.within is None
        if counts and self._values.keys() >= whole:
            self._feed(watch, self._judge(min(s.since for s in mine), mine[0].at), now)

    def _feed(self, watch: Watch, sample: Sample, now: Instant) -> None:
        judged = self._judged
        if sample.value != HOLDS and self.expectation.timing.within is not None:
            self._margins.clear()  # what counts is the stretch in which it holds to the end
        if judged is not None and judged.margin is not None and sample.value == HOLDS:
            self._margins.append(judged.margin)
        watch.receive(sample, now)
        self.seen = watch.seen

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        if self._watch is not None:
            self._watch.tick(now)

    def next_wakeup(self) -> Instant | None:
        """Return when silence would decide something."""
        return None if self._watch is None else self._watch.next_wakeup()

    def take_sends(self) -> tuple[()]:
        """Return nothing: a meter only listens."""
        return ()

    def _judge(self, since: Instant, at: Instant) -> Sample:
        """Return the answer as a sample of the stand-in."""
        parts = self._values.values()
        for validity in (Validity.STALE, Validity.INVALID):
            bad = [sample for sample in parts if sample.validity is validity]
            if bad:
                self._faulty = bad[0].signal
                note = f"{bad[0].signal}: {bad[0].note or validity.value}"
                self._judged = Judgement(holds=None, why=note)
                return Sample(self.signal.path, None, validity, since, at, note)
        self._faulty = ""
        numbers = {s.signal: s.value for s in parts if isinstance(s.value, Decimal)}
        judged = self._judged = self._relation.judge(numbers)
        if judged.holds is None:
            return Sample(self.signal.path, None, Validity.INVALID, since, at, judged.why)
        answer = HOLDS if judged.holds else BROKEN
        return Sample(self.signal.path, answer, Validity.VALID, since, at)

    # --- words ---------------------------------------------------------------------------------

    def _tell(self, found: Finding) -> Finding:
        if self._faulty and found.outcome is not Outcome.PASS:
            self.signal = self._scene.signals[self._faulty]  # who answers for it is not its owner
        got = self._got().removeprefix(f"{self._faulty}: ")
        when = "" if found.elapsed is None else f", {_after(found.elapsed)}"
        wanted = f"wanted {self.expectation.wanted} {self.expectation.when}"
        said = f"{_VERBS[found.outcome]}: {got}, {wanted}{when}"
        if found.outcome is Outcome.INCONCLUSIVE:
            said = f"{_VERBS[found.outcome]} ({found.why}): {got}, {wanted}{when}"
        margins = [] if found.margin is None else [found.margin]
        judged = self._judged
        if found.outcome is Outcome.PASS:
            margins += self._margins
        elif judged is not None and judged.margin is not None:
            margins.append(judged.margin)
        return replace(
            found,
            why="measured",
            decided=None,
            margin=min(margins) if margins and found.outcome is not _UNCLEAR else None,
            got=got,
            said=said,
            figures=self._figures(),
        )

    def _got(self) -> str:
        judged = self._judged
        if judged is None:
            return "not every signal of it was seen"
        if judged.left is None or judged.right is None or judged.difference is None:
            return judged.why or "no value"
        unit = f" {judged.unit}" if judged.unit else ""
        left, right, apart = (
            show_number(_short(number)) + unit
            for number in (judged.left, judged.right, abs(judged.difference))
        )
        return f"{left} against {right} ({apart} apart)"

    def _figures(self) -> tuple[Figure, ...]:
        judged = self._judged
        if judged is None or judged.difference is None:
            return ()
        apart = float(judged.difference)
        return (Figure("difference", apart, apart, apart, judged.unit),)


_UNCLEAR = Outcome.INCONCLUSIVE
_VERBS = {
    Outcome.PASS: "held",
    Outcome.FAIL: "did not hold",
    Outcome.INCONCLUSIVE: "cannot be judged",
}


def _after(elapsed: Duration) -> str:
    return f"{show_duration(elapsed)} after the stimulus"


def _short(number: Decimal) -> Decimal:
    """Round what has no end, or too many digits to read, to six significant ones."""
    digits = number.as_tuple().digits
    return number if len(digits) <= 8 else Decimal(f"{number:.6g}")
