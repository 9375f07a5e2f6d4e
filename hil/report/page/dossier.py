"""What a journal tells about one case, in the order in which it happened.

A dossier is opened when a case begins and closed when the next one does; a case that passed at its
first attempt is told at once and let go, so that a run of 10,000 cases needs little memory.
"""

from dataclasses import dataclass, field

from hil.core.event import (
    CaseEnded,
    CaseStarted,
    CheckDecided,
    CommandLogged,
    Datagram,
    Event,
    StepStarted,
)
from hil.core.verdict import Outcome

SENT = "sent"
STIMULUS = "stimulus"
LOST = "lost"
TALES = ("operator-asked", "operator-answered", "bench-command", "disturbed", "node-note", "trial")
"""Kinds of events that are told in a case, one line each, beside its checks."""

CONSOLE = "console-line"
LINES_KEPT = 200
"""So many console lines of an attempt are kept, the first and the last of them."""


@dataclass(slots=True, kw_only=True)
class Chapter:
    """One attempt at a case: its steps, stimuli, checks, and what else happened meanwhile."""

    number: int
    began: int
    ended: int | None = None
    outcome: Outcome | None = None
    reasons: tuple[str, ...] = ()
    steps: list[StepStarted] = field(default_factory=list)
    stimuli: list[tuple[int, CommandLogged]] = field(default_factory=list)
    lost: list[CommandLogged] = field(default_factory=list)
    checks: list[CheckDecided] = field(default_factory=list)
    tales: list[Event] = field(default_factory=list)
    console: list[Event] = field(default_factory=list)
    unkept: int = 0

    @property
    def wrong(self) -> list[CheckDecided]:
        """The checks that did not pass."""
        return [check for check in self.checks if check.outcome != Outcome.PASS.word]

    def receive(self, event: Event) -> None:
        """Take in an event that happened during this attempt."""
        if isinstance(event, CheckDecided):
            self.checks.append(event)
        elif isinstance(event, CommandLogged):
            self._command(event)
        elif isinstance(event, StepStarted):
            self.steps.append(event)
        elif event.kind in TALES:
            self.tales.append(event)
        elif event.kind == CONSOLE:
            self.console.append(event)
            if len(self.console) > LINES_KEPT:
                del self.console[LINES_KEPT // 2]
                self.unkept += 1

    def _command(self, event: CommandLogged) -> None:
        if event.state == SENT and event.purpose == STIMULUS:
            self.stimuli.append((self.steps[-1].step if self.steps else 0, event))
        elif event.state == LOST:
            self.lost.append(event)

    @property
    def margin(self) -> float | None:
        """The worst margin of its checks."""
        margins = [check.margin for check in self.checks if check.margin is not None]
        return min(margins, default=None)

    @property
    def driven(self) -> list[tuple[int, str, list[str]]]:
        """What was driven, as (step, signal, values in turn)."""
        told: list[tuple[int, str, list[str]]] = []
        for step, command in self.stimuli:
            if told and told[-1][:2] == (step, command.signal):
                told[-1][2].append(command.value)
            else:
                told.append((step, command.signal, [command.value]))
        return told


@dataclass(slots=True, kw_only=True)
class Dossier:
    """One case: its attempts, and the datagrams around what did not pass (added later)."""

    index: int
    chapters: list[Chapter] = field(default_factory=list)
    datagrams: list[Datagram] = field(default_factory=list)
    before: dict[str, Datagram] = field(default_factory=dict)
    asked: dict[tuple[str, str], Datagram] = field(default_factory=dict)
    """What each node said last before that, and the requests that CoAP responses answer."""

    @property
    def plainly_passed(self) -> bool:
        """Whether it passed at its first attempt, so that its checks are all there is to tell."""
        return len(self.chapters) == 1 and self.chapters[0].outcome is Outcome.PASS

    def begin(self, event: CaseStarted) -> None:
        """Open another attempt."""
        self.chapters.append(Chapter(number=event.attempt, began=event.at))

    def end(self, event: CaseEnded, outcome: Outcome) -> None:
        """Close the attempt; one that never began is there all the same."""
        if not self.chapters or self.chapters[-1].outcome is not None:
            self.chapters.append(Chapter(number=event.attempt, began=event.at))
        last = self.chapters[-1]
        last.ended, last.outcome, last.reasons = event.at, outcome, event.reasons
