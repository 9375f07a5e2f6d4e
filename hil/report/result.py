"""What became of every case, node and plan of a run: what all reports are made from.

events of a case                           its outcome
started and ended                          the outcome of its last attempt
started and ended, passed, not at first    unstable
failed, every attempt by known faults      known (hil.report.known)
started, never ended                       error: the run ended here
neither                                    not run
"""

from collections import Counter
from dataclasses import dataclass, field

from hil.core.event import (
    ActuatorSafe,
    CheckDecided,
    HostNoted,
    KnownFault,
    NodeNoted,
    RunEnded,
    RunStarted,
)
from hil.core.verdict import Outcome, worst
from hil.report.alarm_rows import ProvenSpec
from hil.report.console_tale import ConsoleTale
from hil.report.known import KnownStanding, told

RUN_ENDED_HERE = "the run ended here"


@dataclass(slots=True, kw_only=True)
class Attempt:
    """One try of a case; `checks` are kept only where it did not pass, `decided` counts all.

    `blamed` are the nodes that failed it by something other than a check, `unsure` those that
    nobody is sure of; `consoles` what those of the nodes concerned said, where it did not pass.
    """

    number: int
    began: int | None
    outcome: Outcome | None = None
    took: int = 0
    reasons: tuple[str, ...] = ()
    blamed: tuple[str, ...] = ()
    unsure: tuple[str, ...] = ()
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
