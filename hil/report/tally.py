"""From journal events to results: what became of every case, node and plan.

A tally takes events one at a time, while the run goes on or later from the file, and never needs
the whole journal at once.  Checks of a passed attempt are counted and let go; those of every
other attempt are kept for the reports.

    events of a case                           its outcome
    started and ended                          the outcome of its last attempt
    started and ended, passed, not at first    unstable
    failed, every attempt by known faults      known (hil.report.known)
    started, never ended                       error: the run ended here
    neither                                    not run
"""

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from hil.core.event import (
    ActuatorSafe,
    CaseEnded,
    CaseStarted,
    CheckDecided,
    Event,
    HostNoted,
    KnownFault,
    NodeNoted,
    RunEnded,
    RunStarted,
)
from hil.core.verdict import Outcome, worst
from hil.report.alarm_rows import AlarmFold, ProvenSpec
from hil.report.console_tale import ConsoleFold, ConsoleTale
from hil.report.known import KnownFold, KnownStanding, told

RUN_ENDED_HERE = "the run ended here"
_KEPT_NOTES = 200


@dataclass(slots=True, kw_only=True)
class Attempt:
    """One try of a case; `checks` are kept only where it did not pass, `decided` counts all.

    `blamed` are the nodes that failed it by something other than a check; `consoles` what those of
    the nodes concerned said, where it did not pass.
    """

    number: int
    began: int | None
    outcome: Outcome | None = None
    took: int = 0
    reasons: tuple[str, ...] = ()
    blamed: tuple[str, ...] = ()
    decided: int = 0
    checks: list[CheckDecided] = field(default_factory=list)
    consoles: tuple[ConsoleTale, ...] = ()


@dataclass(slots=True, kw_only=True)
class CaseResult:
    """What became of one case; `plan` is the plan's file, `place` where the case stands in it.

    `stopped` is why the run ended before the case began, where that is known; `known` are the
    known faults that every failed attempt is due to, and to nothing else.
    """

    index: int
    plan: str
    title: str
    place: str = ""
    requirements: tuple[str, ...] = ()
    tags: tuple[str, ...] = ()
    attempts: list[Attempt] = field(default_factory=list)
    stopped: str = ""
    known: tuple[KnownFault, ...] = ()

    @property
    def outcome(self) -> Outcome:
        """The verdict, by the table above."""
        if not self.attempts:
            return Outcome.NOT_RUN
        last = self.attempts[-1].outcome
        if last is None:
            return Outcome.ERROR
        if last is Outcome.FAIL and self.known:
            return Outcome.KNOWN
        return Outcome.UNSTABLE if last is Outcome.PASS and len(self.attempts) > 1 else last

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why it is not a plain pass: whole sentences, most important first."""
        if not self.attempts:
            why = f": {self.stopped}" if self.stopped else ""
            return (f"the run ended before this case began{why}",)
        last = self.attempts[-1]
        if last.outcome is None:
            bad = tuple(check.text for check in last.checks if check.outcome != "pass")
            return (RUN_ENDED_HERE, *bad)
        if self.outcome is Outcome.UNSTABLE:
            reasons = [reason for attempt in self.attempts for reason in attempt.reasons]
            return (f"passed on attempt {last.number} only", *reasons)
        return (*map(told, self.known), *last.reasons)

    @property
    def took(self) -> int:
        """How long all its attempts took together, in nanoseconds."""
        return sum(max(0, attempt.took) for attempt in self.attempts)


@dataclass(slots=True, kw_only=True)
class NodeResult:
    """All checks of one node; `margin` is the worst of them and `closest` the signal it was on.

    One that failed without a margin (a label, a text) is worse than any number: then the node is
    `unmeasured`, has no margin, and `closest` names that signal.
    """

    name: str
    counts: Counter[Outcome] = field(default_factory=Counter)
    margin: float | None = None
    closest: str = ""
    unmeasured: bool = False
    notes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanResult:
    """The cases of one plan file, in the order of the run."""

    title: str
    file: str
    cases: tuple[CaseResult, ...]

    def counts(self) -> Counter[Outcome]:
        return Counter(case.outcome for case in self.cases)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunResult:
    """A run as its journal tells it; `ended` is None where it was killed."""

    started: RunStarted | None
    ended: RunEnded | None
    last_at: int
    plans: tuple[PlanResult, ...]
    nodes: tuple[NodeResult, ...]
    node_notes: tuple[NodeNoted, ...]
    host_notes: tuple[HostNoted, ...]
    actuators: tuple[ActuatorSafe, ...]
    alarms: tuple[ProvenSpec, ...] = ()
    known: tuple[KnownStanding, ...] = ()

    @property
    def cases(self) -> tuple[CaseResult, ...]:
        """Every selected case, in the order of the run."""
        cases = [case for plan in self.plans for case in plan.cases]
        return tuple(sorted(cases, key=lambda case: case.index))

    @property
    def safe(self) -> bool:
        """Whether every actuator was seen at its safe value at the end."""
        return self.ended is not None and self.ended.safe

    def counts(self) -> Counter[Outcome]:
        return Counter(case.outcome for case in self.cases)

    def outcome(self) -> Outcome:
        return worst([case.outcome for case in self.cases])


class Tally:
    """Folds events into a RunResult; events of any order and number never raise.

    `day` is the day of the run, YYYY-MM-DD, which known faults need to be in force.
    """

    def __init__(self, day: str | None = None) -> None:
        self.started: RunStarted | None = None
        self.ended: RunEnded | None = None
        self._cases: dict[int, CaseResult] = {}
        self._nodes: dict[str, NodeResult] = {}
        self._node_notes: list[NodeNoted] = []
        self._host_notes: list[HostNoted] = []
        self._actuators: dict[str, ActuatorSafe] = {}
        self._alarms = AlarmFold()
        self._consoles = ConsoleFold()
        self._known = KnownFold(day)
        self.last_at = 0

    def receive(self, event: Event) -> None:
        """Take in the next event of the journal."""
        self.last_at = max(self.last_at, event.at)
        self._alarms.receive(event)
        self._known.receive(event)
        self._consoles.receive(event)
        match event:
            case CheckDecided():
                self._check(event)
            case CaseStarted():
                case = self._case(event.index, event.plan, event.case)
                case.place, case.tags = event.place, event.tags
                case.requirements = event.requirements
                case.attempts.append(Attempt(number=event.attempt, began=event.at))
                self._consoles.begin(event.at)
            case CaseEnded():
                self._end_case(event)
            case NodeNoted():
                self._node(event.node).notes += 1
                if len(self._node_notes) < _KEPT_NOTES:
                    self._node_notes.append(event)
            case HostNoted() if len(self._host_notes) < _KEPT_NOTES:
                self._host_notes.append(event)
            case ActuatorSafe():
                self._actuators[event.signal] = event
            case RunStarted():
                self.started = event
                for index, (plan, title) in enumerate(event.cases):
                    self._case(index, plan, title)
            case RunEnded():
                self.ended = event
                for case in self._cases.values():
                    case.stopped = event.aborted

    def case(self, index: int) -> CaseResult | None:
        """Return what is known of a case so far."""
        return self._cases.get(index)

    def result(self) -> RunResult:
        """Return everything folded so far; an attempt that never ended took until the last event."""
        for case in self._cases.values():
            for attempt in case.attempts:
                if attempt.outcome is None and attempt.began is not None:
                    attempt.took = self.last_at - attempt.began
                    attempt.consoles = self._consoles.so_far
            case.known = self._known.of_case(case.attempts)
        return RunResult(
            started=self.started,
            ended=self.ended,
            last_at=self.last_at,
            plans=self._plans(),
            nodes=tuple(self._nodes[name] for name in sorted(self._nodes)),
            node_notes=tuple(self._node_notes),
            host_notes=tuple(self._host_notes),
            actuators=tuple(self._actuators.values()),
            alarms=self._alarms.result(),
            known=self._known.standings(),
        )

    def _plans(self) -> tuple[PlanResult, ...]:
        titles = {} if self.started is None else {file: t for t, file, _ in self.started.plans}
        by_file: dict[str, list[CaseResult]] = {file: [] for file in titles}
        for _, case in sorted(self._cases.items()):
            by_file.setdefault(case.plan, []).append(case)
        return tuple(
            PlanResult(title=titles.get(file, file), file=file, cases=tuple(cases))
            for file, cases in by_file.items()
            if cases
        )

    def _case(self, index: int, plan: str, title: str) -> CaseResult:
        if index not in self._cases:
            self._cases[index] = CaseResult(index=index, plan=plan, title=title)
        return self._cases[index]

    def _node(self, name: str) -> NodeResult:
        return self._nodes.setdefault(name, NodeResult(name=name))

    def _check(self, event: CheckDecided) -> None:
        outcome = _outcome(event.outcome)
        node = self._node(event.node)
        node.counts[outcome] += 1
        worst_so_far = math.inf if node.margin is None else node.margin
        if node.unmeasured:
            pass
        elif outcome is Outcome.FAIL and event.margin is None:
            node.margin, node.closest, node.unmeasured = None, event.signal, True
        elif event.margin is not None and event.margin < worst_so_far:
            node.margin, node.closest = event.margin, event.signal
        case = self._cases.get(event.index)
        if case is not None and case.attempts:
            case.attempts[-1].decided += 1
            case.attempts[-1].checks.append(event)

    def _end_case(self, event: CaseEnded) -> None:
        case = self._case(event.index, event.plan, event.case)
        if not case.attempts or case.attempts[-1].outcome is not None:
            case.attempts.append(Attempt(number=event.attempt, began=None))
        last = case.attempts[-1]
        last.outcome, last.took, last.reasons = _outcome(event.outcome), event.took, event.reasons
        last.blamed = event.blamed
        last.consoles = self._consoles.end(event.blamed)
        if last.outcome in (Outcome.PASS, Outcome.UNSTABLE):
            last.checks, last.consoles = [], ()


def fold(events: Iterable[Event], day: str | None = None) -> RunResult:
    """Fold a whole journal of a day."""
    tally = Tally(day)
    for event in events:
        tally.receive(event)
    return tally.result()


def _outcome(word: str) -> Outcome:
    try:
        return Outcome(word)
    except ValueError:
        return Outcome.ERROR
