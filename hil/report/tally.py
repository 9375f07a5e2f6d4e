"""From journal events to results: what became of every case, node and plan.

A tally takes events one at a time, while the run goes on or later from the file, and never needs
the whole journal at once.  Checks of a passed attempt are counted and let go; those of every
other attempt are kept for the reports.  What comes of it is in hil.report.result.
"""

import math
from collections.abc import Iterable

from hil.core.event import (
    ActuatorSafe,
    CaseEnded,
    CaseStarted,
    CheckDecided,
    Event,
    HostNoted,
    NodeNoted,
    RunEnded,
    RunStarted,
)
from hil.core.verdict import Outcome
from hil.report.alarm_rows import AlarmFold
from hil.report.console_tale import ConsoleFold
from hil.report.known import KnownFold
from hil.report.result import Attempt, CaseResult, NodeResult, PlanResult, RunResult

_KEPT_NOTES = 200


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
        last.blamed, last.unsure = event.blamed, event.unsure
        last.consoles = self._consoles.end((*event.blamed, *event.unsure))
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
