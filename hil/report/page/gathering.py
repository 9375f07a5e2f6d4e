"""One pass over a journal: everything the pages tell, but the datagrams.

A case that passed plainly is handed to `tell` as soon as it has ended and is not kept.
"""

from collections import Counter
from collections.abc import Callable

from hil.core.event import (
    BenchFile,
    CaseEnded,
    CaseStarted,
    CheckDecided,
    CommandLogged,
    Event,
    NodeConfirmed,
    NodeIdentified,
    NodeNoted,
)
from hil.core.verdict import Outcome
from hil.report.page.dossier import LOST, Dossier
from hil.report.page.section import Section
from hil.report.page.sections import SECTIONS
from hil.report.result import CaseResult
from hil.report.tally import Tally


class Identity:
    """Who a node said it was, each time it was asked; empty where it never told."""

    def __init__(self) -> None:
        self._serials: dict[str, None] = {}
        self._firmwares: dict[str, None] = {}

    def told(self, serial: str, firmware: str) -> None:
        """Take in what it told; what it did not tell is empty."""
        if serial:
            self._serials[serial] = None
        if firmware:
            self._firmwares[firmware] = None

    @property
    def serial(self) -> str:
        """Its serial number; several, in turn, where another device took its place."""
        return ", then ".join(self._serials)

    @property
    def firmware(self) -> str:
        """Its firmware; several, in turn, where that was changed."""
        return ", then ".join(self._firmwares)

    @property
    def changed(self) -> bool:
        """Whether it was somebody else in the middle of the run, or ran something else."""
        return len(self._serials) > 1 or len(self._firmwares) > 1


Tell = Callable[[Dossier, CaseResult], object]


class Gathering:
    """Takes in events in order; never raises, whatever they say and in whatever order they come."""

    def __init__(self, tell: Tell) -> None:
        self._tell = tell
        self._tally = Tally()
        self._open: Dossier | None = None
        self.kept: dict[int, Dossier] = {}
        """The dossiers of cases that did not plainly pass, by their index."""
        self.bench: BenchFile | None = None
        self.identities: dict[str, Identity] = {}
        self.matrix: dict[tuple[str, str], Counter[Outcome]] = {}
        """Checks by node and plan file."""
        self.cases_of: dict[str, set[int]] = {}
        """The cases in which a node was checked."""
        self.gaps: dict[str, int] = {}
        """The longest time between two looks at each signal, in nanoseconds."""
        self.lost_commands: Counter[str] = Counter()
        self.troubles: Counter[tuple[str, str]] = Counter()
        self.sections: list[Section] = [section() for section in SECTIONS]

    def receive(self, event: Event) -> None:
        """Take in the next event."""
        self._tally.receive(event)
        if isinstance(event, CaseStarted):
            self._begin(event)
        elif isinstance(event, CaseEnded):
            self._end(event)
        elif self._open is not None and self._open.chapters:
            self._open.chapters[-1].receive(event)
        if isinstance(event, CheckDecided):
            self._check(event)
        elif isinstance(event, CommandLogged):
            if event.state == LOST:
                self.lost_commands[event.signal.partition(".")[0]] += 1
        elif isinstance(event, BenchFile):
            self.bench = event
        elif isinstance(event, NodeIdentified):
            self._identify(event.node, event.serial, event.firmware)
        elif isinstance(event, NodeConfirmed):
            facts = dict(event.facts)
            self._identify(event.node, facts.get("serial", ""), facts.get("firmware", ""))
        elif isinstance(event, NodeNoted):
            self.troubles[event.node, event.trouble] += 1
        for section in self.sections:
            if event.kind in section.kinds:
                section.receive(event)

    def _identify(self, node: str, serial: str, firmware: str) -> None:
        self.identities.setdefault(node, Identity()).told(serial, firmware)

    def _begin(self, event: CaseStarted) -> None:
        if self._open is not None:
            self._close(self._open)
        found = self.kept.pop(event.index, None)
        dossier = found or Dossier(index=event.index)
        dossier.begin(event)
        self._open = dossier

    def _end(self, event: CaseEnded) -> None:
        dossier = self._open
        if dossier is None or dossier.index != event.index:
            dossier = self.kept.pop(event.index, None)
        if dossier is None:
            dossier = Dossier(index=event.index)
        dossier.end(event, outcome_named(event.outcome))
        if dossier is self._open:
            self._open = None
        self._close(dossier)

    def _close(self, dossier: Dossier) -> None:
        case = self._tally.case(dossier.index)
        if dossier.plainly_passed and case is not None:
            self._tell(dossier, case)
        else:
            self.kept[dossier.index] = dossier

    def finish(self) -> None:
        """Close the case in whose middle the journal ends."""
        if self._open is not None:
            self._close(self._open)
            self._open = None

    def _check(self, event: CheckDecided) -> None:
        case = self._tally.case(event.index)
        plan = "" if case is None else case.plan
        counts = self.matrix.setdefault((event.node, plan), Counter())
        counts[outcome_named(event.outcome)] += 1
        self.cases_of.setdefault(event.node, set()).add(event.index)
        if event.gap is not None and event.gap > self.gaps.get(event.signal, 0):
            self.gaps[event.signal] = event.gap


def outcome_named(word: str) -> Outcome:
    """Return the verdict of this name; a word that is none is an error."""
    try:
        return Outcome(word)
    except ValueError:
        return Outcome.ERROR
