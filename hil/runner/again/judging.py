"""One pass over a recorded journal: the same observations at the same instants, judged anew.

    recorded datagrams ──▶ hil.wire.overheard ──▶ samples ──┐
    recorded fates of commands ─────────────────────────────┼──▶ the case, as it is in the plan now
    recorded notes on nodes and host ───────────────────────┘

A case begins where it began.  What the plan now asks to be driven is looked up among what was driven;
where the recording went on before an expectation was decided (a step took less time then than the
plan wants now), the case is inconclusive: what came later belongs to another step.  The same plans
and the same recording give the same verdicts.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from heapq import heappop, heappush

from hil.core.casework import CaseRun
from hil.core.driving import Driving
from hil.core.event import (
    CaseEnded,
    CaseStarted,
    CommandLogged,
    Datagram,
    Event,
    ForeignDatagram,
    HostNoted,
    NodeNoted,
    StepStarted,
)
from hil.core.instant import Instant, show_duration, since
from hil.core.observation import (
    Command,
    CommandAnswered,
    CommandLost,
    CommandSent,
    Exchanged,
    HostNote,
    HostTrouble,
    NodeNote,
    NodeTrouble,
    Observation,
    Samples,
)
from hil.core.plan import Case
from hil.core.scene import Explain, Scene, explain_nothing
from hil.core.signal import show_value
from hil.core.verdict import Outcome, worst
from hil.report.capture.ends import address
from hil.runner.again.fate import Fates
from hil.runner.selection import nodes_used
from hil.wire.overheard import Overheard, can_be_overheard
from hil.wire.rack import Rack

NO_LONGER = "the plan has no such case any more"
_HOST = {trouble.value: trouble for trouble in HostTrouble}
_NODE = {
    trouble.value: trouble
    for trouble in NodeTrouble
    if trouble in (NodeTrouble.UNREACHABLE, NodeTrouble.REFUSED)
}
"""Notes that cannot be made from datagrams; all others are made anew."""


@dataclass(slots=True)
class _Bounds:
    """How one recorded attempt at a case went on: its steps, its putting back, its end."""

    steps: list[tuple[int, Instant]] = field(default_factory=list)
    back: Instant | None = None

    @property
    def start(self) -> Instant | None:
        return self.steps[0][1] if self.steps else None


class Judging:
    """The pass; `counts` and `outcome` are known when it is over."""

    def __init__(
        self,
        rack: Rack,
        cases: Mapping[tuple[str, str], Case],
        recorded: Sequence[Event],
        *,
        explain: Explain = explain_nothing,
    ) -> None:
        self._rack, self._cases, self._recorded = rack, cases, recorded
        logged = [event for event in recorded if isinstance(event, CommandLogged)]
        self._fates = Fates(logged)
        self._bounds = _bounds(recorded)
        self._overheard = Overheard(rack)
        self.unreadable = 0
        """How many recorded datagrams are no octets."""
        signals = rack.signals()
        driving = Driving(signals, Instant(0))
        self._scene = Scene(signals=signals, driving=driving, origin=Instant(0), explain=explain)
        self._pending: list[tuple[Instant, int, Observation]] = []
        self._serial = 0
        self._now = Instant(0)
        self._run: CaseRun | None = None
        self._begun: CaseStarted | None = None
        self._limits = _Bounds()
        self._step = -1
        self._job = False
        self._outcomes: dict[int, Outcome] = {}
        self._out: list[Event] = []

    @property
    def outcomes(self) -> Sequence[Outcome]:
        """How each case that was begun came out at last."""
        return tuple(self._outcomes.values())

    def run(self) -> Iterator[Event]:
        """Yield the new events among those of the recording that stay as they are."""
        for event in self._recorded:
            if isinstance(event, (CaseStarted, StepStarted, CaseEnded)):
                self._mark(event)
            elif isinstance(event, (Datagram, ForeignDatagram)):
                self._reach(event.at, timers=False)
                self._hear(event)
            elif isinstance(event, (HostNoted, NodeNoted)):
                self._note(event)
            self._collect()
            yield from self._out
            self._out = []
            if _stays(event):
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
            self._outcomes[event.index] = next(o for o in Outcome if o.word == event.outcome)
            self._begun = None
        else:
            self._cut("the case ended")

    def _begin(self, event: CaseStarted, at: Instant) -> None:
        """Begin a case again, where the plan still has it and its nodes can be overheard."""
        self._limits = self._bounds.get((event.index, event.attempt), _Bounds())
        case = self._cases.get((event.plan, event.case))
        why = NO_LONGER if case is None else _cannot(case, self._rack)
        if why or case is None:
            self._out += [event, _skipped(event, why)]
            self._outcomes[event.index] = Outcome.SKIPPED
            return
        self._step = -1
        self._job = any(step.job is not None for step in case.steps)  # it puts back by itself
        self._run = CaseRun(self._scene, case, event.index, event.attempt, at)
        self._after(at)

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
            if self._pending and self._pending[0][0] <= due[0]:
                self._give(heappop(self._pending)[2])
            else:
                self._overheard.tick(self._now)
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
        times = [(self._pending[0][0], False)] if self._pending else []
        stale = self._overheard.next_wakeup()
        wake = None if self._run is None or self._run.done else self._run.next_wakeup()
        times += [(one, True) for one in (stale, wake) if one is not None]
        return min(times, default=None)

    def _steps_are_on(self) -> bool:
        """Say whether the case has neither ended nor begun to put back."""
        return self._run is not None and not self._run.done and not self._run.putting_back

    # --- what was observed ---------------------------------------------------------------------

    def _hear(self, event: Datagram | ForeignDatagram) -> None:
        try:
            octets = bytes.fromhex(event.hex)
        except ValueError:
            self.unreadable += 1
            return
        if isinstance(event, ForeignDatagram):
            self._overheard.came(event.node, address(event.peer), octets, event.at)
        elif event.way == "out":
            self._overheard.sent(event.node, octets, event.at)
        else:
            self._overheard.came(event.node, None, octets, event.at)
        self._pass_on()

    def _note(self, event: HostNoted | NodeNoted) -> None:
        now = self._now
        if isinstance(event, HostNoted):
            host = _HOST.get(event.trouble)
            if host is not None:
                self._give(HostNote(trouble=host, at=now, amount=event.amount, text=event.text))
        elif (trouble := _NODE.get(event.trouble)) is not None:
            self._give(NodeNote(node=event.node, trouble=trouble, at=now, text=event.text))

    def _pass_on(self) -> None:
        for observation in self._overheard.take_observations():
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
        for wish in self._scene.driving.take_sends():
            if isinstance(wish, Command):
                shown = show_value(wish.value, self._scene.signals[wish.signal])
                for at, thing in self._fates.take(wish, shown, now):
                    self._serial += 1
                    heappush(self._pending, (max(at, now), self._serial, thing))
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


def _bounds(recorded: Iterable[Event]) -> dict[tuple[int, int], _Bounds]:
    found: dict[tuple[int, int], _Bounds] = {}
    current = _Bounds()
    for event in recorded:
        if isinstance(event, CaseStarted):
            current = found.setdefault((event.index, event.attempt), _Bounds())
        elif isinstance(event, StepStarted):
            current.steps.append((event.step, event.at))
        elif isinstance(event, CaseEnded):
            current = _Bounds()
        elif isinstance(event, CommandLogged) and event.purpose == "restore":
            current.back = event.at if current.back is None else current.back
    return found


def _cannot(case: Case, rack: Rack) -> str:
    """Say why a case cannot be judged from a recording; nothing where it can."""
    if case.skip:
        return case.skip
    if any(step.ask is not None for step in case.steps):
        return "a person was asked, whose answers are not judged again"
    nodes = {node.name: node for node in rack.nodes}
    deaf = [name for name in nodes_used(rack, (case,)) if not can_be_overheard(nodes[name])]
    if deaf:
        return f"{', '.join(deaf)}: only datagrams of declared layouts can be judged again"
    return ""


def _skipped(event: CaseStarted, why: str) -> CaseEnded:
    return CaseEnded(
        at=event.at,
        index=event.index,
        plan=event.plan,
        case=event.case,
        outcome=Outcome.SKIPPED.word,
        attempt=event.attempt,
        took=0,
        reasons=(why,),
    )


def _stays(event: Event) -> bool:
    """Say whether an event of the recording is no judgement, and so stays as it was."""
    judged = ("case-started", "step-started", "command", "check", "case-ended", "trial")
    return event.kind not in judged and not event.kind.startswith(("alarm-", "run-", "operator-"))
