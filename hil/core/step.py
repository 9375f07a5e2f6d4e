"""One step of a case: wait, stimulate, watch until everything is decided.

    WAITING     the pause, and until every rate limit allows the stimuli
    SENDING     commands queued, until all have left; t = 0 is when the first one left
    JUDGING     until every expectation is decided, every command answered and the job done
    OVER        `checks` and `reasons` say how it went

Whose fault a failed check is stands in hil.core.circumstances.
"""

from collections.abc import Container
from dataclasses import replace
from enum import Enum, auto

from hil.core.circumstances import Circumstances
from hil.core.condition import show_got
from hil.core.driving import Progress, Trip
from hil.core.event import CheckDecided
from hil.core.expectation import Finding, Watch, undecided
from hil.core.instant import Instant, after, earliest
from hil.core.job import Stage
from hil.core.meter import Meter
from hil.core.observation import (
    HostNote,
    NodeNote,
    Observation,
    Purpose,
    Samples,
)
from hil.core.outline import outline_condition, outline_timing
from hil.core.plan import Case, Step
from hil.core.scene import Scene
from hil.core.verdict import Outcome
from hil.core.watching import watch_for
from hil.core.wording import place, sentence


class Phase(Enum):
    """Where a step is."""

    WAITING = auto()
    SENDING = auto()
    JUDGING = auto()
    OVER = auto()


WAITING, SENDING, JUDGING, OVER = Phase  # asked often, and to look into an Enum is slow


class StepRun:
    """The machine of one step; number 0 is the precondition, which trusts the value in force.

    What a person is asked in it is the business of hil.core.asking.
    """

    def __init__(
        self, scene: Scene, case: Case, index: int, step: Step, number: int, start: Instant
    ) -> None:
        self._scene = scene
        self._case = case
        self._index = index
        self._step = step
        self._number = number
        self._phase = WAITING
        self.done = False
        self._resume = after(start, step.wait)
        self._trips: list[Trip] = []
        self._watches: list[Watch | Meter] = []
        self._by_signal: dict[str, list[Watch]] = {}
        self._meters: list[Meter] = [
            meter
            for one in step.expectations
            if one.measure is not None
            for meter in one.measure.begin(scene, one, start)
        ]
        self._around = Circumstances(scene, case.reboots, precondition=number == 0)
        self._stage: Stage | None = None
        self._stimulated = start
        self.outcomes: list[Outcome] = []
        self.reasons: list[str] = []
        self.blamed: list[str] = []
        self.unsure: list[str] = []
        self.tick(start)

    # --- the machine ---------------------------------------------------------------------------

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take in a sample, the fate of a command, or something odd about node or host."""
        if isinstance(seen, Samples):
            if not self._by_signal.keys().isdisjoint(seen.signals):
                for sample in seen.of(self._by_signal):
                    for watch in self._by_signal[sample.signal]:
                        watch.receive(sample, now)
        elif isinstance(seen, NodeNote):
            self._around.note_node(seen)
        elif isinstance(seen, HostNote):
            self._around.note_host(seen, weighed=getattr(self._stage, "weighs_host", False))
        for meter in self._meters:
            meter.receive(seen, now)
        if self._stage is not None:
            self._stage.receive(seen, now)
        self._advance(now)

    def tick(self, now: Instant) -> None:
        """Let time reach `now` in everything that waits."""
        for watch in self._watches:
            watch.tick(now)
        if self._stage is not None:
            self._stage.tick(now)
        self._advance(now)

    def next_wakeup(self) -> Instant | None:
        """Return the earliest moment at which something is due."""
        if self._phase is WAITING:
            return self._resume
        if self._phase is JUDGING:
            stage = None if self._stage is None else self._stage.next_wakeup()
            return earliest(stage, *(watch.next_wakeup() for watch in self._watches))
        return None

    def heeds(self) -> Container[str]:
        """Return the nodes whose samples may change anything now; measures and jobs heed all."""
        if self._stage is not None or self._meters:
            return self._scene.nodes
        return {watch.signal.node for watch in self._watches if watch.finding is None}

    def take_sends(self) -> tuple[()]:
        """Return nothing: commands leave through the scene's driving."""
        return ()

    # --- phases --------------------------------------------------------------------------------

    def _advance(self, now: Instant) -> None:
        if self._phase is WAITING and now >= self._resume:
            self._stimulate(now)
        if self._phase is SENDING and all(trip.sent or trip.over for trip in self._trips):
            sent = [trip.sent for trip in self._trips if trip.sent is not None]
            self._watch(min(sent, default=now))
        if self._phase is JUDGING and self._decided():
            self._conclude(now)

    def _stimulate(self, now: Instant) -> None:
        driving, stimuli = self._scene.driving, self._step.stimuli
        self._resume = max((driving.ready_at(s.signal, s.value) for s in stimuli), default=now)
        if self._resume > now:
            return
        self._trips = [driving.send(s.signal, s.value, Purpose.STIMULUS) for s in stimuli]
        self._phase = SENDING

    def _watch(self, start: Instant) -> None:
        self._phase = JUDGING
        self._stimulated = start
        for meter in self._meters:
            meter.stimulated(start)
        latest, ask = self._scene.latest, self._step.ask
        for expectation in self._step.expectations:
            for path in expectation.signals if expectation.measure is None else ():
                signal, before = self._scene.signals[path], latest.get(path)
                trusted = self._number == 0 or (ask is not None and ask.trusting)
                watch = watch_for(expectation, signal, start, before, trust_before=trusted)
                self._watches.append(watch)
                self._by_signal.setdefault(path, []).append(watch)
        self._watches += self._meters
        if self._step.job is not None:
            where = place(self._case.title, self._number)
            self._stage = self._step.job.begin(self._scene, where, self._index, self._number, start)

    def _decided(self) -> bool:
        if any(trip.progress in (Progress.LOST, Progress.REFUSED) for trip in self._trips):
            return all(trip.over for trip in self._trips)
        open_watches = [
            watch
            for watch in self._watches
            if watch.finding is None and not self._around.unreachable(watch.signal.node)
        ]
        busy = self._stage is not None and not self._stage.done
        return not open_watches and not busy and all(trip.over for trip in self._trips)

    # --- verdicts ------------------------------------------------------------------------------

    def _conclude(self, now: Instant) -> None:
        self._phase = OVER
        self.done = True
        refused = self._judge_stimuli()
        if self._stage is not None:
            self._take_over(self._stage, now)
        broken = any(trip.broken for trip in self._trips)  # then no node is asked to account
        for watch in self._watches:
            if broken and watch.finding is None:
                continue
            finding = watch.finding or undecided(watch.seen)
            outcome, excuse = self._around.whose_fault(watch, finding, refused)
            self._report(watch, replace(finding, outcome=outcome), excuse, now)
        if self._trips and not self._watches and self._around.excuses:
            self.reasons += self._around.excuses

    def _take_over(self, stage: Stage, now: Instant) -> None:
        """Take over what the job found; the bench's own trouble excuses what it failed."""
        if not stage.done:
            stage.break_off("; ".join(self._around.excuses) or "the step ended here", now)
        for outcome in stage.outcomes:
            excused = outcome is Outcome.FAIL and self._around.excuses
            self.outcomes.append(Outcome.INCONCLUSIVE if excused else outcome)
        self.reasons += [*stage.reasons, *(self._around.excuses if stage.reasons else ())]
        if not self._around.excuses:
            self.blamed += getattr(stage, "blamed", ())
        self.unsure += getattr(stage, "unsure", ())

    def break_off(self, reason: str, now: Instant) -> None:
        """Let a job at work keep what it has measured; the run ends here."""
        if self._stage is not None and not self._stage.done:
            self._stage.break_off(reason, now)

    def _judge_stimuli(self) -> str:
        """Record lost and refused stimuli; return the refusal, for the checks that hang on it."""
        where = place(self._case.title, self._number)
        refused = ""
        for trip in self._trips:
            node = self._scene.signals[trip.command.signal].node
            if trip.progress is Progress.LOST:
                lost = "could not be carried out" if trip.broken else "was not confirmed"
                self._around.excuses.append(f"the stimulus {lost}: {trip.detail}")
                outcome = Outcome.ERROR if trip.broken else Outcome.INCONCLUSIVE
                self.unsure += [] if trip.broken else [node]
                self._settle(outcome, f"{where}: {self._around.excuses[-1]}")
            elif trip.progress is Progress.REFUSED:
                refused = f"{node} refused the stimulus {trip.command.signal}: {trip.detail}"
                self._settle(Outcome.FAIL, f"{where}: {refused}")
                self.blamed.append(node)
        return refused

    def _settle(self, outcome: Outcome, reason: str) -> None:
        self.outcomes.append(outcome)
        self.reasons.append(reason)

    def _report(self, watch: Watch | Meter, finding: Finding, excuse: str, now: Instant) -> None:
        where = place(self._case.title, self._number)
        text = sentence(
            where,
            watch.expectation,
            watch.signal,
            finding,
            watch.before,
            excuse,
            self._around.hint(watch, finding),
        )
        if self._step.ask is not None:
            text = text.replace("after the stimulus", self._step.ask.moment)
        self.outcomes.append(finding.outcome)
        if finding.outcome is not Outcome.PASS:
            self.reasons.append(text)
        decided = finding.decided
        self._scene.events.append(
            CheckDecided(
                at=self._scene.since_origin(now),
                index=self._index,
                step=self._number,
                signal=watch.signal.path,
                node=watch.signal.node,
                wanted=watch.expectation.wanted,
                when=watch.expectation.when,
                outcome=finding.outcome.word,
                got=finding.got or show_got(decided, watch.signal),
                elapsed=finding.elapsed,
                change=finding.change,
                margin=None if finding.margin is None else round(finding.margin, 6),
                gap=finding.gap,
                seen=finding.seen,
                text=text,
                place=str(watch.expectation.mark),
                last=decided.raw.hex() if decided is not None else "",
                figures=finding.figures,
                stimulus=self._scene.since_origin(self._stimulated),
                limits=outline_condition(watch.condition) if isinstance(watch, Watch) else (),
                timing=outline_timing(watch.expectation.timing),
            )
        )
