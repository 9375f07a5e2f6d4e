"""The virtual bench: software nodes in process, and time that jumps to the next wakeup.

Nothing here reads a clock, so a run is the same byte for byte however busy the computer is.
At one instant envelopes arrive before the nodes' own timers.  Node-to-node traffic passes the
same medium as the tool's.
"""

from collections.abc import Callable
from typing import Protocol

from hil.bench.bench import Arrival
from hil.bench.medium import Medium, SteadyMedium
from hil.core.error import BenchError
from hil.core.instant import Instant
from hil.core.observation import Abort
from hil.wire.link import Packet
from hil.wire.rack import Address, Envelope, Rack

FIRST_PORT = 49_152  # RFC 6335 §6: the dynamic ports, from which a real socket would get its own

BEGINNING = Instant(0)

NEVER = Instant(1 << 63)
LAST = Instant(NEVER - 1)

RESTLESS = 100_000
"""So many rounds at one instant are a machine that breaks its law of progress."""


class Nodes(Protocol):
    """What the bench needs of software nodes (hil.nodes.SoftwareRack)."""

    def receive(self, thing: Envelope, now: Instant) -> None: ...
    def tick(self, now: Instant) -> None: ...
    def next_wakeup(self) -> Instant | None: ...
    def take_sends(self) -> tuple[Envelope, ...]: ...


class VirtualBench:
    """A bench without wires.

    `abort` is asked at every wait whether somebody wants the run to end (a real signal ends a
    virtual run too); it returns the reason's Abort or None.
    """

    stamps = "virtual"

    def __init__(
        self,
        rack: Rack,
        nodes: Nodes,
        *,
        start: Instant = BEGINNING,
        medium: Medium | None = None,
        abort: Callable[[Instant], Abort | None] | None = None,
    ) -> None:
        self._nodes = nodes
        self._medium: Medium = SteadyMedium() if medium is None else medium
        self._now = start
        self._abort = abort
        self._local = tool_addresses(rack)
        self._owner = {address: name for name, address in self._local.items()}
        self._rounds = 0
        self._nodes_due = self._medium_due = NEVER
        self._note_medium()
        self._collect()

    @property
    def local(self) -> dict[str, Address]:
        """The tool's own address towards each node; nobody else has it."""
        return dict(self._local)

    def now(self) -> Instant:
        return self._now

    def send(self, packet: Packet) -> Instant:
        envelope = Envelope(self._local[packet.node], packet.peer, packet.payload)
        self._medium.receive(envelope, self._now)
        self._note_medium()
        return self._now

    def wait(self, until: Instant | None) -> tuple[list[Arrival], Instant]:
        if self._abort is not None:
            abort = self._abort(self._now)
            if abort is not None:
                return [Arrival(abort, self._now)], self._now
        limit = LAST if until is None else until
        arrivals: list[Arrival] = []
        while True:
            carried, due = self._medium_due, self._nodes_due
            coming = carried if carried < due else due
            if coming > self._now:
                if arrivals:
                    return arrivals, self._now
                if coming > limit:
                    return arrivals, self._idle(until)
                self._now, self._rounds = coming, 0
            elif arrivals or coming <= limit:
                self._stay()
            else:
                return arrivals, self._now
            if carried <= coming:
                self._hand_over(arrivals)
            if due <= coming:
                self._nodes.tick(coming)
            self._collect()

    def close(self) -> None:
        """Nothing is held."""

    def _stay(self) -> None:
        """Go round once more at this instant, but not for ever."""
        self._rounds += 1
        if self._rounds > RESTLESS:
            raise BenchError(f"the software nodes do not let time pass beyond {self._now} ns")

    def _idle(self, until: Instant | None) -> Instant:
        """Nothing happens before `until`: go there."""
        if until is None:
            raise BenchError(
                "nothing is under way, no node has anything to do and the run waits for no "
                "instant: this would wait for ever"
            )
        if until > self._now:
            self._now = until
        return self._now

    def _hand_over(self, arrivals: list[Arrival]) -> None:
        """Hand over what the medium has carried to its place by now."""
        now, medium = self._now, self._medium
        medium.tick(now)
        for envelope in medium.take_sends():
            name = self._owner.get(envelope.destination)
            if name is None:
                self._nodes.receive(envelope, now)
            else:
                arrivals.append(Arrival(Packet(name, envelope.source, envelope.payload), now))
        self._note_medium()

    def _collect(self) -> None:
        """Put on the segment what the nodes want sent, and note when they are due next."""
        nodes, medium, now = self._nodes, self._medium, self._now
        sends = nodes.take_sends()
        if sends:
            for envelope in sends:
                medium.receive(envelope, now)
            self._note_medium()
        wakeup = nodes.next_wakeup()
        self._nodes_due = NEVER if wakeup is None else wakeup

    def _note_medium(self) -> None:
        wakeup = self._medium.next_wakeup()
        self._medium_due = NEVER if wakeup is None else wakeup


def tool_addresses(rack: Rack) -> dict[str, Address]:
    """Return an address of the tool for every node, none of them a node's own."""
    taken = {node.address for node in rack.nodes}
    free = (
        address
        for port in range(FIRST_PORT, 65_536)
        if (address := Address(rack.host, port)) not in taken
    )
    return {node.name: next(free) for node in rack.nodes}
