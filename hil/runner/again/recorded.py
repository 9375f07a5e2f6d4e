"""What a recording holds of its cases: where their steps began, what can be judged of them at all.

case-started … step-started … (commands that put back) … case-ended        one attempt
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from hil.core.event import (
    CaseEnded,
    CaseStarted,
    CommandLogged,
    ConsoleLine,
    Event,
    StepStarted,
)
from hil.core.instant import Instant
from hil.core.plan import Case
from hil.core.verdict import Outcome
from hil.runner.selection import nodes_used
from hil.wire.rack import Rack

NO_LONGER = "the plan has no such case any more"


@dataclass(slots=True)
class Bounds:
    """How one recorded attempt at a case went on: its steps, its putting back."""

    steps: list[tuple[int, Instant]] = field(default_factory=list)
    back: Instant | None = None

    @property
    def start(self) -> Instant | None:
        return self.steps[0][1] if self.steps else None


def bounds_of(recorded: Iterable[Event]) -> dict[tuple[int, int], Bounds]:
    """Return the bounds of every attempt, by the case's index and the attempt."""
    found: dict[tuple[int, int], Bounds] = {}
    current = Bounds()
    for event in recorded:
        if isinstance(event, CaseStarted):
            current = found.setdefault((event.index, event.attempt), Bounds())
        elif isinstance(event, StepStarted):
            current.steps.append((event.step, event.at))
        elif isinstance(event, CaseEnded):
            current = Bounds()
        elif isinstance(event, CommandLogged) and event.purpose == "restore":
            current.back = event.at if current.back is None else current.back
    return found


class Evidence:
    """What of a rack a recording can tell at all: `consoles` are the nodes whose lines are in it."""

    def __init__(self, rack: Rack, recorded: Sequence[Event]) -> None:
        self._rack = rack
        self._lines = {event.node for event in recorded if isinstance(event, ConsoleLine)}

    def cannot(self, case: Case) -> str:
        """Say why a case cannot be judged from it; nothing where it can."""
        if case.skip:
            return case.skip
        mute = [
            node.name
            for node in self._rack.nodes
            if node.console is not None
            and node.address == node.console.address
            and node.name not in self._lines
        ]
        deaf = [name for name in nodes_used(self._rack, (case,)) if name in mute]
        if deaf:
            return f"{', '.join(deaf)}: what stood on the console is not in this recording"
        return ""


def skipped(event: CaseStarted, why: str) -> CaseEnded:
    """Return the end of a recorded case that is not judged again."""
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


def stays(event: Event) -> bool:
    """Say whether an event of the recording is no judgement, and so stays as it was."""
    judged = ("case-started", "step-started", "command", "check", "case-ended", "trial")
    return event.kind not in judged and not event.kind.startswith(("alarm-", "run-", "operator-"))
