"""The virtual bench: software nodes in process, and time that jumps to the next wakeup.

Nothing here reads a clock, so a run is the same byte for byte however busy the computer is.
At one instant envelopes arrive before the nodes' own timers.  Node-to-node traffic passes the
same medium as the tool's.
"""

from collections.abc import Callable, Iterable, Iterator
from typing import Protocol

from hil.bench.aside import Aside
from hil.bench.bench import Arrival
from hil.bench.medium import Medium, SteadyMedium
from hil.bench.wires import WiredMedium, Wires, lines_of
from hil.core.error import BenchError
from hil.core.instant import Instant
from hil.core.observation import Abort
from hil.wire.link import Packet
from hil.wire.mail import GroupMail, groups_of
from hil.wire.rack import Address, Envelope, Rack, far_end

FIRST_PORT = 49_152  # RFC 6335 §6: the dynamic ports, from which a real socket would get its own

BEGINNING = Instant(0)

_NEVER = Instant(1 << 63)
_LAST = Instant(_NEVER - 1)

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
        self._lines = lines_of(rack)
        self._lines_open = False
        if self._lines:
            self._medium = WiredMedium(self._medium, Wires(self._lines))
        self._now = start
        self._abort = abort
        self._local = tool_addresses(rack)
        self._owner = {address: name for name, address in self._local.items()}
        self._mail = GroupMail(rack)
        self._groups = frozenset(self._mail.groups.values())
        self._owner |= {group: name for name, group in self._mail.groups.items()}
        self._owner |= {place: str(group) for group, place in group_places(rack).items()}
        for node in rack.nodes:
            if node.console is not None:
                self._owner[far_end(node.console.address)] = node.name
        self._rounds = 0
        self._asides: list[Aside] = []
        self._nodes_due = _NEVER
        self._collect(start)

    @property
    def local(self) -> dict[str, Address]:
        """The tool's own address towards each node; nobody else has it."""
        return dict(self._local)

    def now(self) -> Instant:
        return self._now

    def open_lines(self) -> None:
        """Open the serial lines of the rack; until then nobody hears what is said on them."""
        self._lines_open = True
        for line in self._lines:
            self._nodes.receive(Envelope(far_end(line), line, b""), self._now)
        self._collect(self._now)

    def send(self, packet: Packet) -> Instant:
        local = self._local[packet.node] if packet.peer.port else far_end(packet.peer)
        envelope = Envelope(local, packet.peer, packet.payload)
        self._medium.receive(envelope, self._now)
        return self._now

    def wait(self, until: Instant | None) -> tuple[list[Arrival], Instant]:
        if self._abort is not None:
            abort = self._abort(self._now)
            if abort is not None:
                return [Arrival(abort, self._now)], self._now
        for aside in self._asides:
            if came := aside.collect(self._now):
                return came, self._now
        arrivals: list[Arrival] = []
        now, limit = self._now, _LAST if until is None else until
        while True:
            coming, arriving = self._nodes_due, False
            carried = self._medium.next_wakeup()
            if carried is not None and carried <= coming:
                coming, arriving = carried, True
            if coming > now:
                if arrivals:
                    return arrivals, now
                if coming > limit:
                    return arrivals, self._idle(until)
                now = self._now = coming
                self._rounds = 0
            elif coming > limit:
                return arrivals, now
            else:
                self._stay()
            if arriving:
                self._hand_over(now, arrivals)
            else:
                self._nodes.tick(now)
                self._collect(now)

    def heed(self, aside: Aside) -> None:
        """Listen to something beside the segment as well; time stands still while it makes wait."""
        aside.attach(_watch_nothing, _watch_nothing)
        self._asides.append(aside)

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

    def _hand_over(self, now: Instant, arrivals: list[Arrival]) -> None:
        """Hand over what the medium has carried to its place."""
        touched = False
        self._medium.tick(now)
        for envelope in self._medium.take_sends():
            name = self._owner.get(envelope.destination)
            if name is None or envelope.destination in self._groups:
                self._nodes.receive(envelope, now)
                touched = True
            if name is not None:
                packet = self._mail.packet(name, envelope.source, envelope.payload)
                arrivals.append(Arrival(packet, now))
        if touched:
            self._collect(now)

    def _collect(self, now: Instant) -> None:
        """Put on the segment what the nodes want sent, and note when they are due next."""
        for envelope in self._nodes.take_sends():
            if envelope.source.port or self._lines_open:
                self._medium.receive(envelope, now)
        due = self._nodes.next_wakeup()
        self._nodes_due = _NEVER if due is None else due


def _watch_nothing(fd: int) -> None:
    """Nothing here sleeps on files."""


def group_places(rack: Rack) -> dict[Address, Address]:
    """Return an address of the tool for every group, where a simulated segment puts its copy.

    Each has its own: two groups may share a port, and a node may have it too.
    """
    free = _free(rack, tool_addresses(rack).values())
    return {group: next(free) for group in groups_of(rack)}


def tool_addresses(rack: Rack) -> dict[str, Address]:
    """Return an address of the tool for every node, none of them a node's own."""
    free = _free(rack, ())
    return {node.name: next(free) for node in rack.nodes}


def _free(rack: Rack, used: Iterable[Address]) -> Iterator[Address]:
    """Yield addresses of the tool that are neither a node's nor used."""
    taken = {*(node.address for node in rack.nodes), *used}
    for port in range(FIRST_PORT, 65_536):
        address = Address(rack.host, port)
        if address not in taken:
            yield address
