"""The capture of a run, made from its journal: `capture.pcapng` beside it.

Every datagram is one packet, with the direction, and a comment that names the case and step it fell
into; a stimulus says so.  Instants are those of the journal, on the day and time at which the run
began.  The journal knows the nodes' addresses (from the bench file that it holds), but not from which
port the tool spoke: that one is made up, the same for each node throughout, and the first lines of the
file say so.  What came over a console is no datagram and is not here.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from itertools import chain
from pathlib import Path

from hil.core.error import DescriptionError
from hil.core.event import (
    BenchFile,
    CaseEnded,
    CaseStarted,
    CommandLogged,
    Datagram,
    Event,
    ForeignDatagram,
    RunStarted,
    StepStarted,
)
from hil.files.read import read_rack_text
from hil.report import journal
from hil.report.about import About
from hil.report.capture.ends import FIRST_PORT, Ends
from hil.report.capture.pcapng import LATEST, Captured, Way, begin, packet
from hil.report.journal import JournalReader
from hil.report.store import write_pieces
from hil.wire.rack import Rack

NAME = "capture.pcapng"


def write_capture(folder: Path, about: About | None) -> Path | None:
    """Write the capture of a run; None where its journal holds no bench file, or no datagram.

    Raises StoreError.
    """
    began = 0 if about is None else _nanoseconds(about.started)
    told = folder / journal.NAME
    left = departures(JournalReader(told, datagrams=False))
    pieces = capture(JournalReader(told), left, began, folder.name)
    first = next(pieces, None)
    if first is None:
        return None
    path = folder / NAME
    write_pieces(path, in_blocks(chain((first,), pieces)))
    return path


def in_blocks(pieces: Iterable[bytes], size: int = 1 << 16) -> Iterator[bytes]:
    """Yield the same octets in fewer, larger pieces: each is one call of the system."""
    held = bytearray()
    for piece in pieces:
        held += piece
        if len(held) >= size:
            yield bytes(held)
            held.clear()
    if held:
        yield bytes(held)


def departures(events: Iterable[Event]) -> dict[tuple[str, int], str]:
    """Return what was sent to a node at an instant: `stimulus: feedline.pressure = 4.8 bar`."""
    return {
        (
            event.signal.partition(".")[0],
            event.at,
        ): f"{event.purpose}: {event.signal} = {event.value}"
        for event in events
        if isinstance(event, CommandLogged) and event.state == "sent"
    }


def capture(
    events: Iterable[Event], left: Mapping[tuple[str, int], str], began: int, run: str
) -> Iterator[bytes]:
    """Yield the octets of a capture; `began` is the run's beginning in nanoseconds since 1970.

    `left` are the departures of the same journal.
    """
    place, ends, started = _Place(left), None, None
    for number, event in enumerate(events):
        place.receive(event)
        if isinstance(event, RunStarted):
            started = event
        elif isinstance(event, BenchFile) and started is not None:
            rack = _rack(event)
            if rack is None:
                return
            ends = Ends(rack)
            yield begin(*_head(rack, started, run))
        elif ends is not None and isinstance(event, (Datagram, ForeignDatagram)):
            octets, at = ends.packet(event, number), began + event.at
            if octets is not None and 0 <= at <= LATEST:
                way = Way.OUT if isinstance(event, Datagram) and event.way == "out" else Way.IN
                comment = place.words(event)
                yield packet(Captured(at=at, octets=octets, way=way, comment=comment))


class _Place:
    """Where in the run an event falls."""

    def __init__(self, left: Mapping[tuple[str, int], str]) -> None:
        self._left = left
        self._case = self._step = ""

    def receive(self, event: Event) -> None:
        if isinstance(event, CaseStarted):
            again = f", attempt {event.attempt}" if event.attempt > 1 else ""
            self._case, self._step = f"{event.plan}: {event.case}{again}", ""
        elif isinstance(event, StepStarted):
            self._step = f", step {event.step}" if event.step else ", precondition"
        elif isinstance(event, CaseEnded):
            self._case = self._step = ""

    def words(self, event: Datagram | ForeignDatagram) -> str:
        """Say where a datagram falls, and what it is where that is known."""
        if isinstance(event, ForeignDatagram):
            what = f"not from {event.node}, to whom the tool spoke here"
        else:
            what = self._left.get((event.node, event.at), "") if event.way == "out" else ""
        return "; ".join(part for part in (self._case + self._step, what) if part)


def _head(rack: Rack, started: RunStarted, run: str) -> tuple[str, str, str]:
    interface = "virtual" if started.virtual else rack.interface
    comment = (
        f"run {run} on {rack.name}; arrival stamps: {started.stamps}; IP and UDP headers are made "
        f"from the bench file, the tool's ports from {FIRST_PORT} on are not those it had"
    )
    return interface, comment, started.tool


def _rack(event: BenchFile) -> Rack | None:
    try:
        return read_rack_text(event.text, event.file)
    except DescriptionError:
        return None


def _nanoseconds(started: str) -> int:
    try:
        moment = datetime.fromisoformat(started)
    except ValueError:
        return 0
    return int(moment.timestamp()) * 1_000_000_000 + moment.microsecond * 1_000
