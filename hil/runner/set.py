"""`hil set`, from the bench file to a rack that is safe again.

Around it stands what stands around a run: the rack's lock, the mark of an unclean end, the guard
that makes the rack safe should this process die.  It keeps no journal: nothing is judged.
"""

import signal
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Protocol

from hil.bench.bench import Arrival
from hil.bench.hands import Hands
from hil.bench.interrupt import Interrupts
from hil.bench.loop import drive
from hil.bench.paced import PacedBench
from hil.core.event import CaseEnded, Event, RunEnded
from hil.core.instant import Duration, Instant
from hil.core.observation import Abort, Samples
from hil.core.plan import Stimulus
from hil.core.signal import Sample
from hil.core.verdict import Outcome
from hil.report.exit_code import ExitCode
from hil.runner.attended import Attended
from hil.runner.holding import holding_case, shown_by
from hil.runner.session import Session
from hil.runner.site import Say, Site, virtual_site, wall_site
from hil.wire.rack import Rack


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is to be held: on which rack, how, for how long (None: until somebody ends it)."""

    rack: Rack
    stimuli: tuple[Stimulus, ...]
    length: Duration | None = None
    virtual: bool = False
    served: bool = False


_CODES = {
    Outcome.PASS.word: ExitCode.PASSED,
    Outcome.FAIL.word: ExitCode.NODE,
    Outcome.INCONCLUSIVE.word: ExitCode.BENCH,
    Outcome.NOT_RUN.word: ExitCode.BENCH,
}
"""What an outcome of the one case means; broken off by a signal it is none of these."""


@dataclass(slots=True, kw_only=True)
class Held:
    """How it ended; `faults` are what went wrong while the rack was given back."""

    case: CaseEnded | None = None
    ended: RunEnded | None = None
    safe: bool = False
    moved: bool = False
    stopped_by: int | None = None
    faults: list[str] = field(default_factory=list)

    def code(self, wanted: Wanted) -> int:
        """Return the exit code, the highest that applies; Ctrl-C is the way to end an open hold."""
        outcome = Outcome.NOT_RUN.word if self.case is None else self.case.outcome
        code = _CODES.get(outcome, ExitCode.PASSED if self.stopped_by else ExitCode.BENCH)
        if self.faults or not self.safe:
            code = ExitCode.BENCH
        meant = self.stopped_by == signal.SIGINT and wanted.length is None and self.case is not None
        if self.stopped_by is not None and not meant:
            return ExitCode.ABORTED + self.stopped_by
        return int(code)


class Face(Protocol):
    """What shows it to people."""

    period: Duration

    def happened(self, event: Event) -> None:
        """Show what happened."""

    def look(self, seen: dict[str, Sample], now: Instant) -> None:
        """Show how things are."""


def hold(wanted: Wanted, face: Face, say: Say) -> Held:
    """Drive, hold, make safe.  Raises BenchError before anything moves."""
    held = Held()
    with Interrupts() as interrupts, _site(wanted, interrupts, say) as site:
        before = signal.signal(signal.SIGTSTP, signal.SIG_IGN)  # asleep it could not let go
        try:
            _sit(wanted, face, site, held, interrupts)
        finally:
            signal.signal(signal.SIGTSTP, before)
            held.stopped_by = interrupts.number
    held.faults += site.faults
    return held


def _site(wanted: Wanted, interrupts: Interrupts, say: Say) -> AbstractContextManager[Site]:
    rack = wanted.rack
    if wanted.virtual:
        return virtual_site(rack, interrupts)
    name = f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}-{rack.name}-by-hand"
    return wall_site(rack, name, interrupts, say, served=wanted.served)


def _sit(wanted: Wanted, face: Face, site: Site, held: Held, interrupts: Interrupts) -> None:
    rack, bench = wanted.rack, site.bench
    if wanted.virtual:
        bench = PacedBench(bench, interrupts.fd)
    shown = frozenset(shown_by(rack, wanted.stimuli))
    seen: dict[str, Sample] = {}

    def hear(samples: Samples) -> None:
        seen.update((sample.signal, sample) for sample in samples.of(shown))

    def happened(event: Event) -> None:
        if isinstance(event, CaseEnded):
            held.case = event
        elif isinstance(event, RunEnded):
            held.ended = event
        face.happened(event)

    start = bench.now()
    case = holding_case(rack, wanted.stimuli, wanted.length)
    session = Session(rack, (case,), start, repair=site.repair, hear=hear)
    attended = Attended(session, face.period, start, lambda now: face.look(seen, now))
    try:
        _take_early(session, bench.wait(start)[0], start)
        drive(
            attended,
            Hands(rack, start, workshop=site.workshop),
            bench,
            _forget,
            origin=start,
            observe=happened,
            record_datagram=_forget,
        )
    finally:
        held.safe, held.moved = session.safe, session.moved
        site.safe, site.moved = session.safe, session.moved
        site.distrusted = frozenset(session.distrusted)
        unseen = session.unseen
        site.unseen = frozenset(node.address for node in rack.nodes if node.name in unseen)


def _take_early(session: Session, arrivals: Sequence[Arrival], start: Instant) -> None:
    """What opening and building took is no lateness; that somebody wants an end is."""
    for arrival in arrivals:
        if isinstance(arrival.thing, Abort):
            session.receive(arrival.thing, start)


def _forget(*passage: object) -> None:
    """Keep nothing of what passes."""
