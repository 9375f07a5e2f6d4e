"""One pass over a recorded journal: the same observations at the same instants, judged anew.

    recorded datagrams, console lines ──────▶ samples ──────┐
    recorded fates of commands, answers of people ──────────┼──▶ the case, as it is in the plan now
    recorded notes on nodes and host ───────────────────────┘

A case begins where it began.  What the plan now asks to be driven is looked up among what was driven;
where the recording went on before an expectation was decided (a step took less time then than the
plan wants now), the case is inconclusive: what came later belongs to another step.  The same plans
and the same recording give the same verdicts.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from hil.core.casework import CaseRun
from hil.core.driving import Driving
from hil.core.event import CaseEnded, CaseStarted, Event, StepStarted
from hil.core.instant import Instant, show_duration, since
from hil.core.observation import (
    CommandAnswered,
    CommandLost,
    CommandSent,
    Exchanged,
    Observation,
    Samples,
)
from hil.core.plan import Case
from hil.core.scene import Explain, Scene, explain_nothing
from hil.core.verdict import Outcome, worst
from hil.runner.again.playback import HEARD, Playback
from hil.runner.again.recorded import NO_LONGER, Bounds, Evidence, bounds_of, skipped, stays
from hil.runner.again.response import Responses
from hil.wire.rack import Rack

_OUTCOMES = {outcome.word: outcome for outcome in Outcome}


class Judging:
    """The pass; `outcomes` are known when it is over."""

    def __init__(
        self,
        rack: Rack,
        cases: Mapping[tuple[str, str], Case],
        recorded: Sequence[Event],
        *,
        explain: Explain = explain_nothing,
    ) -> None:
        self._cases, self._recorded = cases, recorded
        self._evidence = Evidence(rack, recorded)
        self._bounds = bounds_of(recorded)
        self._playback = Playback(rack)
        self._responses = Responses(rack, recorded)
        signals = rack.signals()
        driving = Driving(signals, Instant(0))
        self._scene = Scene(signals=signals, driving=driving, origin=Instant(0), explain=explain)
        self._now = Instant(0)
        self._run: CaseRun | None = None
        self._begun: CaseStarted | None = None
        self._limits = Bounds()
        self._step = -1
        self._job = False
        self._outcomes: dict[int, Outcome] = {}
        self._out: list[Event] = []

    @property
    def unreadable(self) -> int:
        """How many recorded datagrams and lines are no octets."""
        return self._playback.unreadable

    @property
    def outcomes(self) -> Sequence[Outcome]:
        """How each case that was begun came out at last."""
        return tuple(self._outcomes.values())

    def run(self) -> Iterator[Event]:
        """Yield the new events among those of the recording that stay as they are."""
        for event in self._recorded:
            if isinstance(event, (CaseStarted, StepStarted, CaseEnded)):
                self._mark(event)
            else:
                if isinstance(event, HEARD):
                    self._reach(event.at, timers=False)
                self._playback.receive(event, self._now)
                self._pass_on()
            self._collect()
            yield from self._out
            self._out = []
            if stays(event):
                yield event

    # --- marks of the recording ----------------------------------------------------------------

    def _mark(self, event: CaseStarted | StepStarted | CaseEnded) -> None:
        self._reach(event.at, timers=True)
        if isinstance(event, CaseStarted):
            self._begun = event
        elif isinstance(event, StepStarted):
            if self._begun is not None:
                begun, self._begun = self._begun, None
                self._begin(begun, event.at)
            elif self._step < event.step:
                self._cut(f"step {event.step} began")
        elif self._begun is not None:  # it never came to its first step
            self._out += [self._begun, event]
            self._outcomes[event.index] = _OUTCOMES.get(event.outcome, Outcome.INCONCLUSIVE)
            self._begun = None
        else:
            self._cut("the case ended")

    def _begin(self, event: CaseStarted, at: Instant) -> None:
        """Begin a case again, where the plan still has it and the recording can tell it."""
        self._limits = self._bounds.get((event.index, event.attempt), Bounds())
        case = self._cases.get((event.plan, event.case))
        why = self._missing(event.plan) if case is None else self._evidence.cannot(case)
        if why or case is None:
            self._out += [event, skipped(event, why)]
            self._outcomes[event.index] = Outcome.SKIPPED
            return
        self._step = -1
        self._job = any(step.job is not None for step in case.steps)  # it puts back by itself
        self._run = CaseRun(self._scene, case, event.index, event.attempt, at)
        self._after(at)

    def _missing(self, plan: str) -> str:
        """Say why there is no case of this plan to judge by."""
        known = any(title == plan for title, _ in self._cases)
        return NO_LONGER if known else f"none of the plans given is called {plan!r}"

    def _cut(self, when: str) -> None:
        """The recording goes on without the case: what is not decided cannot be any more."""
        run = self._run
        if run is None or run.done:
            return
        self._collect()
        self._run = None
        at = show_duration(since(self._limits.start or self._now, self._now))
        reason = (
            f"{run.case.title}: cannot be judged from this recording: {when} there, {at} after "
            "its beginning, before everything here was decided"
        )
        self._close(run, worst([run.outcome, Outcome.INCONCLUSIVE]), reason)

    def _close(self, run: CaseRun, outcome: Outcome, reason: str = "") -> None:
        ended = run.ended_event(outcome)
        if reason:
            began = self._limits.start or self._now
            reasons = (*ended.reasons, reason)
            ended = replace(ended, at=self._now, took=self._now - began, reasons=reasons)
        self._outcomes[ended.index] = outcome
        self._out.append(ended)

    # --- time ----------------------------------------------------------------------------------

    def _reach(self, at: Instant, *, timers: bool) -> None:
        """Let everything happen that comes before `at`; with `timers` also what is due then."""
        while True:
            due = self._next()
            if due is None or due[0] > at or (due[0] == at and not timers and due[1]):
                break
            self._now = max(due[0], self._now)
            if self._responses.next() == due[0]:
                self._give(self._responses.pop())
            else:
                self._playback.tick(self._now)
                self._pass_on()
                if self._run is not None:
                    self._run.tick(self._now)
            self._after(self._now)
            self._cut_where_put_back()
        self._now = max(at, self._now)
        self._cut_where_put_back()

    def _cut_where_put_back(self) -> None:
        """What came after the recording put back what was driven is no answer to a step."""
        back = self._limits.back
        if back is not None and self._now > back and self._steps_are_on() and not self._job:
            self._cut("what was driven was put back")

    def _next(self) -> tuple[Instant, bool] | None:
        """Return the next instant at which something happens, and whether it is a timer's."""
        response, stale = self._responses.next(), self._playback.next_wakeup()
        wake = None if self._run is None or self._run.done else self._run.next_wakeup()
        times = [(one, True) for one in (stale, wake) if one is not None]
        times += [] if response is None else [(response, False)]
        return min(times, default=None)

    def _steps_are_on(self) -> bool:
        """Say whether the case has neither ended nor begun to put back."""
        return self._run is not None and not self._run.done and not self._run.putting_back

    # --- what was observed ---------------------------------------------------------------------

    def _pass_on(self) -> None:
        for observation in self._playback.take_observations():
            self._give(observation)

    def _give(self, seen: Observation) -> None:
        if isinstance(seen, Samples):
            self._scene.latest.take(seen)
        elif isinstance(seen, Exchanged):
            self._scene.exchange(seen)
            return
        elif isinstance(seen, (CommandSent, CommandAnswered, CommandLost)):
            self._scene.driving.receive(seen)
        if self._run is not None and not self._run.done:
            self._run.receive(seen, self._now)
        self._after(self._now)

    def _after(self, now: Instant) -> None:
        """Answer what the case has sent, and see whether it is over."""
        wishes = self._scene.driving.take_sends()
        if wishes and self._run is not None:
            self._responses.seek(wishes, self._run.index, now)
        self._collect()
        run = self._run
        if run is not None and run.done:
            self._run = None
            passed = run.outcome is Outcome.PASS and run.attempt > 1
            self._close(run, Outcome.UNSTABLE if passed else run.outcome)

    def _collect(self) -> None:
        events = self._scene.driving.take_events() + self._scene.events
        self._scene.events = []
        for event in events:
            if isinstance(event, StepStarted):
                self._step = event.step
        self._out += events
