"""`trials`: a case or a step many times over, and one verdict on all of them.

    STEPS     precondition and steps of one trial, in order; the first that does not pass ends it
    BACK      everything driven goes back to its resting value
    then the next trial, until every statement is certain, one way or the other

A trial on which the bench could not tell does not count and is run again, a limited number of times;
what is said of all says how many those were.  The bench's own trouble excuses the trial that it fell
into and no other.  Traffic is counted over all trials, so there it excuses the count.
The latency of a trial is the longest that any `within` of it took, from its own stimulus; a trial
that failed has none.  Each trial is a line in the journal, the checks inside it are not.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from hil.core.event import CheckDecided, TrialEnded
from hil.core.instant import Duration, Instant
from hil.core.observation import HostNote, HostTrouble, Observation
from hil.core.plan import Case, Expectation, Step, numbered_steps
from hil.core.scene import Scene
from hil.core.securing import Securing, put_back
from hil.core.step import StepRun
from hil.core.verdict import Outcome, worst
from hil.measure.traffic import Traffic, TrafficMeter
from hil.measure.trial_statement import Latency, Standing, Wanted
from hil.measure.verdicts import Verdicts

_TOLD = 3

ENDLESS_WINDOW = Duration(1 << 60)
"""The window of traffic that is counted for as long as the trials last."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeating:
    """`case` up to `count` times; its precondition and steps are one trial.

    `traffic` are expectations about the readings of nodes meanwhile.
    """

    case: Case
    count: int
    wanted: tuple[Wanted, ...]
    traffic: tuple[Expectation, ...] = ()

    @property
    def drives(self) -> tuple[str, ...]:
        """The signals that a trial drives."""
        paths = [s.signal for step in self.case.steps for s in step.stimuli]
        paths += [path for step in self.case.steps if step.job for path in step.job.drives]
        return tuple(dict.fromkeys(paths))

    @property
    def watches(self) -> tuple[str, ...]:
        """The signals that a trial looks at."""
        expectations = [e for step in self.case.steps for e in step.expectations]
        expectations += self.case.precondition
        return tuple(dict.fromkeys(path for e in expectations for path in e.signals))

    def begin(
        self, scene: Scene, where: str, index: int, step: int, start: Instant
    ) -> "RepeatingStage":
        """Begin the first trial."""
        return RepeatingStage(self, scene, where, index, step, start)


class RepeatingStage:
    """The machine of all trials."""

    weighs_host = True

    def __init__(
        self, job: Repeating, scene: Scene, where: str, index: int, step: int, start: Instant
    ) -> None:
        self._verdicts = Verdicts(scene, where, index, step, job.case.mark)
        self._job, self._scene = job, scene
        self._index, self._step = index, step
        self._inner = replace(scene, events=[])
        self._standings = [Standing(wanted, job.count) for wanted in job.wanted]
        self._meters = [_meter(scene, expectation, start) for expectation in job.traffic]
        self._counted = self._unclear = self._number = 0
        self._told: list[str] = []
        self._host: list[str] = []
        self._steps: list[tuple[int, Step]] = []
        self._active: StepRun | Securing | None = None
        self._over = False
        self._begin_trial(start)
        self._advance(start)

    @property
    def done(self) -> bool:
        return self._over

    @property
    def outcomes(self) -> Sequence[Outcome]:
        return self._verdicts.outcomes

    @property
    def reasons(self) -> Sequence[str]:
        return self._verdicts.reasons

    # --- the machine ---------------------------------------------------------------------------

    def receive(self, seen: Observation, now: Instant) -> None:
        """Pass it to the trial that is on."""
        if isinstance(seen, HostNote) and seen.trouble is not HostTrouble.CLOCK:
            self._host.append(seen.text)
        for meter in self._meters:
            meter.receive(seen, now)
        if self._active is not None:
            self._active.receive(seen, now)
        self._advance(now)

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        if self._active is not None:
            self._active.tick(now)
        self._advance(now)

    def next_wakeup(self) -> Instant | None:
        """Return when the trial that is on wants to be woken."""
        return None if self._active is None else self._active.next_wakeup()

    def break_off(self, reason: str, now: Instant) -> None:
        """End now; what is not certain yet stays open."""
        if not self._over:
            self._finish(f"the trials ended here: {reason}", now)

    # --- trials --------------------------------------------------------------------------------

    def _begin_trial(self, now: Instant) -> None:
        self._number += 1
        self._trial: list[Outcome] = []
        self._trial_reasons: list[str] = []
        self._latency: list[tuple[int, int]] = []
        self._steps = numbered_steps(self._job.case)
        self._next_step(now)

    def _next_step(self, now: Instant) -> None:
        number, step = self._steps.pop(0)
        self._active = StepRun(self._inner, self._job.case, self._index, step, number, now)

    def _advance(self, now: Instant) -> None:
        while not self._over and self._active is not None and self._active.done:
            if isinstance(self._active, StepRun):
                self._collect(self._active, now)
            else:
                self._end_trial(self._active, now)

    def _collect(self, step: StepRun, now: Instant) -> None:
        self._trial += step.outcomes
        self._trial_reasons += step.reasons
        for event in self._inner.events:
            if isinstance(event, CheckDecided) and event.step and _took(event):
                assert event.elapsed is not None
                first = event.change[0] if event.change is not None else event.elapsed
                self._latency.append((first, event.elapsed))
        self._inner.events = []
        passed = all(outcome is Outcome.PASS for outcome in step.outcomes)
        if self._steps and passed:
            self._next_step(now)
            return
        self._active = put_back(self._inner, self._job.drives, now)

    def _end_trial(self, back: Securing, now: Instant) -> None:
        for target in back.targets:
            if target.failed:
                self._trial.append(Outcome.INCONCLUSIVE)
                self._trial_reasons.append(f"{target.signal.path}: {target.failed}")
        self._trial += [Outcome.INCONCLUSIVE] * len(back.missing)
        self._trial_reasons += back.missing.values()
        outcome = worst(self._trial) if self._trial else Outcome.PASS
        latency = self._count(outcome)
        self._scene.events.append(
            TrialEnded(
                at=self._scene.since_origin(now),
                index=self._index,
                step=self._step,
                number=self._number,
                outcome=outcome.word,
                latency=latency,
                reasons=tuple(self._trial_reasons),
            )
        )
        self._continue(now)

    def _count(self, outcome: Outcome) -> Latency:
        """Count a trial that can be counted; return its latency."""
        if outcome is not Outcome.PASS:
            self._told += [f"trial {self._number}: {text}" for text in self._trial_reasons[:1]]
        if outcome not in (Outcome.PASS, Outcome.FAIL):
            self._unclear += 1
            return None
        self._counted += 1
        latency: Latency = None
        if outcome is Outcome.PASS and self._latency:
            firsts, lasts = zip(*self._latency, strict=True)
            latency = (max(firsts), max(lasts))
        for standing in self._standings:
            standing.add(outcome is Outcome.PASS, latency)
        return latency

    def _continue(self, now: Instant) -> None:
        decided = [standing.decided for standing in self._standings]
        spare = max(3, self._job.count // 10)
        if Outcome.FAIL in decided or None not in decided:
            self._finish("", now)
        elif self._unclear > spare:
            self._finish(f"more than the {spare} that are run again", now)
        else:
            self._begin_trial(now)

    # --- the verdict ---------------------------------------------------------------------------

    def _finish(self, broken: str, now: Instant) -> None:
        self._over, self._active = True, None
        first = self._job.watches[0] if self._job.watches else self._job.drives[0]
        when = f"in up to {self._job.count} trials"
        for standing in self._standings:
            outcome = standing.decided or Outcome.INCONCLUSIVE
            unsure = "not certain either way" if outcome is Outcome.INCONCLUSIVE else ""
            aside = _set_aside(self._unclear, self._number, standing)
            self._verdicts.state(
                first,
                outcome,
                now,
                wanted=standing.wanted.words,
                when=when,
                got=standing.got,
                note="; ".join(part for part in (unsure, aside, broken) if part),
                margin=standing.margin,
                figures=standing.figures,
                seen=self._counted,
            )
        for meter in self._meters:
            meter.conclude(now)
            self._take_over(meter, when, now)
        if any(outcome is not Outcome.PASS for outcome in self.outcomes):
            self._verdicts.reasons += self._told[:_TOLD]

    def _take_over(self, meter: TrafficMeter, when: str, now: Instant) -> None:
        found = meter.finding
        if found is not None:
            excused = found.outcome is Outcome.FAIL and bool(self._host)
            self._verdicts.state(
                meter.signal.path,
                Outcome.INCONCLUSIVE if excused else found.outcome,
                now,
                wanted=meter.expectation.wanted,
                when=when,
                got=found.got,
                note="; ".join(dict.fromkeys(self._host)) if excused else "",
                margin=found.margin,
                figures=found.figures,
                seen=found.seen,
            )


def _set_aside(unclear: int, number: int, standing: Standing) -> str:
    """Say how many trials count for nothing, and whether a pass would stand if they had failed."""
    if not unclear:
        return ""
    said = f"{unclear} of {number} trials set aside, which the bench could not judge"
    if standing.decided is not Outcome.PASS:
        return said
    stands = standing.stands_with(unclear)
    return f"{said}: with them as failures it would {'pass too' if stands else 'not be certain'}"


def _took(event: CheckDecided) -> bool:
    """Say whether a check tells how long something took: one that waited for it did."""
    return event.elapsed is not None and any(name == "within" for name, _ in event.timing)


def _meter(scene: Scene, expectation: Expectation, start: Instant) -> TrafficMeter:
    measure = expectation.measure
    assert isinstance(measure, Traffic)
    meter = TrafficMeter(measure, scene, expectation)
    meter.stimulated(start)
    return meter
