"""Serial lines between software nodes and the tool: one character after the other, at its rate.

A machine.  What is said on a line is under way for as long as its characters take, behind what was
said there before; it arrives in pieces, as a UART hands it over, so that lines come cut anywhere.
The two directions of a line do not touch.
"""

from collections.abc import Mapping
from heapq import heappop, heappush

from hil.bench.medium import Medium
from hil.core.instant import Instant, earliest
from hil.wire.console.description import Line
from hil.wire.rack import Address, Envelope, Rack, far_end

PIECE = 16
"""Octets handed over at once: the receive buffer of a 16550 UART (common practice, no source)."""


def lines_of(rack: Rack) -> dict[Address, Line]:
    """Return the serial lines of a rack by the addresses of their nodes' ends."""
    return {
        node.console.address: node.console.line for node in rack.nodes if node.console is not None
    }


class Wires:
    """All serial lines of a rack; `lines` are by the addresses of the nodes' ends."""

    def __init__(self, lines: Mapping[Address, Line]) -> None:
        ends = {end: line for a, line in lines.items() for end in (a, far_end(a))}
        self._lines = ends
        self._free: dict[Address, Instant] = {}
        self._under_way: list[tuple[Instant, int, Envelope]] = []
        self._turn = 0
        self._now = Instant(-1)

    def receive(self, thing: Envelope, now: Instant) -> None:
        """Take what is said at one end; nothing at all is handed over as it is."""
        line = self._lines[thing.source]
        start = max(now, self._free.get(thing.source, now))
        size = len(thing.payload)
        for first in range(0, size, PIECE) if size else (0,):
            piece = thing.payload[first : first + PIECE]
            at = Instant(start + line.lasting(min(first + PIECE, size)))
            self._turn += 1
            envelope = Envelope(thing.source, thing.destination, piece)
            heappush(self._under_way, (at, self._turn, envelope))
        self._free[thing.source] = Instant(start + line.lasting(size))

    def tick(self, now: Instant) -> None:
        """Learn that time has reached `now`."""
        self._now = now

    def next_wakeup(self) -> Instant | None:
        """Return when the next piece has arrived."""
        return self._under_way[0][0] if self._under_way else None

    def take_sends(self) -> tuple[Envelope, ...]:
        """Hand over the pieces that have arrived."""
        arrived = []
        while self._under_way and self._under_way[0][0] <= self._now:
            arrived.append(heappop(self._under_way)[2])
        return tuple(arrived)


class WiredMedium:
    """A segment for datagrams with serial lines beside it."""

    def __init__(self, segment: Medium, wires: Wires) -> None:
        self._segment, self._wires = segment, wires

    def receive(self, thing: Envelope, now: Instant) -> None:
        """Take an envelope that is sent at `now`, by datagram or on a line."""
        carrier = self._segment if thing.source.port else self._wires
        carrier.receive(thing, now)

    def tick(self, now: Instant) -> None:
        """Learn that time has reached `now`."""
        self._segment.tick(now)
        self._wires.tick(now)

    def next_wakeup(self) -> Instant | None:
        """Return when the next envelope arrives."""
        return earliest(self._segment.next_wakeup(), self._wires.next_wakeup())

    def take_sends(self) -> tuple[Envelope, ...]:
        """Hand over what has arrived."""
        return (*self._segment.take_sends(), *self._wires.take_sends())
