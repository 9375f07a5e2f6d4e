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
        self._nodes_due: Instant | None = None
        self._restless = 0
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
        return self._now

    def wait(self, until: Instant | None) -> tuple[list[Arrival], Instant]:
        if self._abort is not None:
            abort = self._abort(self._now)
            if abort is not None:
                return [Arrival(abort, self._now)], self._now
        arrivals: list[Arrival] = []
        while True:
            coming = self._next()
            if arrivals and (coming is None or coming > self._now):
                return arrivals, self._now
            if coming is None or (until is not None and coming > until):
                return arrivals, self._idle(until)
            self._advance(coming)
            self._step(arrivals)

    def close(self) -> None:
        """Nothing is held."""

    def _next(self) -> Instant | None:
        one, other = self._medium.next_wakeup(), self._nodes.next_wakeup()
        self._nodes_due = other
        if one is None or other is None:
            return other if one is None else one
        return one if one <= other else other

    def _advance(self, to: Instant) -> None:
        if to > self._now:
            self._now, self._restless = to, 0
            return
        self._restless += 1
        if self._restless > RESTLESS:
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

    def _step(self, arrivals: list[Arrival]) -> None:
        """Let everything that is due at this instant happen once."""
        now, medium, nodes = self._now, self._medium, self._nodes
        medium.tick(now)
        for envelope in medium.take_sends():
            name = self._owner.get(envelope.destination)
            if name is None:
                nodes.receive(envelope, now)
            else:
                arrivals.append(Arrival(Packet(name, envelope.source, envelope.payload), now))
        if self._nodes_due is not None and self._nodes_due <= now:
            nodes.tick(now)
        self._collect()

    def _collect(self) -> None:
        """Put on the segment what the nodes want sent."""
        for envelope in self._nodes.take_sends():
            self._medium.receive(envelope, self._now)


def tool_addresses(rack: Rack) -> dict[str, Address]:
    """Return an address of the tool for every node, none of them a node's own."""
    taken = {node.address for node in rack.nodes}
    free = (
        address
        for port in range(FIRST_PORT, 65_536)
        if (address := Address(rack.host, port)) not in taken
    )
    return {node.name: next(free) for node in rack.nodes}
