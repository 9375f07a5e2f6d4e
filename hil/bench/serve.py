"""Serving the software nodes on real sockets: one socket per node, at the node's own address.

The nodes are the same machines as on the virtual bench; only the clock and the wires are real.
"""

import errno
from collections.abc import Callable

from hil.bench.child import TakenError
from hil.bench.clock import StampClock
from hil.bench.group import GroupPort, pin_sending
from hil.bench.port import Port
from hil.bench.ports import Ports, kernel_stamps
from hil.bench.terminal import LOOK_EVERY, TerminalLine
from hil.bench.virtual import Nodes
from hil.bench.wires import Wires, lines_of
from hil.core.error import BenchError
from hil.core.instant import Instant, earliest
from hil.wire.mail import groups_of
from hil.wire.rack import Address, Envelope, Rack

Sent = Callable[[Envelope, Instant], object]
"""Is told of every envelope a node sends, with the instant just before it was sent."""


class Service:
    """Software nodes on the wire; `fd` is a file that wakes it, to be looked at by the caller.

    Raises BenchError when an address is taken or is not this computer's.
    """

    def __init__(self, rack: Rack, *, fd: int, sent: Sent | None = None) -> None:
        self._clock = StampClock()
        self._sent = sent
        self._local = {node.name: node.address for node in rack.nodes}
        stamped = kernel_stamps(rack.host, self._clock)
        opened: list[Port] = []
        try:
            for node in rack.nodes:
                if node.address.port:
                    opened.append(_open(node.name, node.address))
            opened += _groups(rack, opened)
        except BenchError:
            for port in opened:
                port.close()
            raise
        self._local |= {port.name: port.local for port in opened if isinstance(port, GroupPort)}
        self._wires = Wires(lines_of(rack))
        self._lines = {
            node.console.address: TerminalLine(node.name, node.console.address)
            for node in rack.nodes
            if node.console is not None
        }
        self._by_address = {self._local[port.name]: port for port in opened}
        for port in opened:
            for address in self._by_address:
                port.know(address)
        self._ports: Ports[Envelope] = Ports(
            opened, self._clock, self._envelope, extra=(fd,), stamped=stamped
        )

    @property
    def lines(self) -> tuple[TerminalLine, ...]:
        """The nodes' ends of their serial lines."""
        return tuple(self._lines.values())

    @property
    def terminals(self) -> dict[str, str]:
        """The pseudo-terminals to open for the consoles of the nodes, by their names."""
        return {line.name: line.path for line in self._lines.values()}

    def now(self) -> Instant:
        return self._clock.now()

    def turn(self, nodes: Nodes, until: Instant | None) -> None:
        """Wait for something to do, at most until the instant given, and let the nodes do it."""
        self._send(nodes)
        now = self._clock.now()
        opening = self._look_at_lines(nodes, now) if self._lines else None
        wakeup = earliest(nodes.next_wakeup(), self._wires.next_wakeup(), opening, until)
        self._ports.sleep(wakeup, now)
        heard, horizon = self._ports.drain()
        for envelope, at in heard:
            self._timers(nodes, Instant(at - 1))
            if envelope.source.port:
                nodes.receive(envelope, at)
                self._send(nodes)
            else:
                self._wires.receive(envelope, at)
        self._timers(nodes, horizon)

    def forget(self, fd: int) -> None:
        """Do not wake for this file any more."""
        self._ports.forget(fd)

    def close(self) -> None:
        self._ports.close()
        for line in self._lines.values():
            line.close()

    def _timers(self, nodes: Nodes, limit: Instant) -> None:
        while True:
            due, carried = nodes.next_wakeup(), self._wires.next_wakeup()
            wakeup = earliest(due, carried)
            if wakeup is None or wakeup > limit:
                return
            if carried == wakeup:
                self._carry(nodes, wakeup)
            else:
                nodes.tick(wakeup)
            self._send(nodes)

    def _carry(self, nodes: Nodes, now: Instant) -> None:
        """Hand over what has come to the end of its line."""
        self._wires.tick(now)
        for envelope in self._wires.take_sends():
            line = self._lines.get(envelope.source)
            if line is None:
                nodes.receive(envelope, now)
            else:
                self._ports.write_line(line, envelope.payload)

    def _look_at_lines(self, nodes: Nodes, now: Instant) -> Instant | None:
        """See who has opened a line or let go of it; return when to look again."""
        for line in self._lines.values():
            if line.gone:
                line.is_open = False
            if not line.is_open and line.look():
                line.read()  # what was written before somebody listened is lost
                self._ports.add_line(line)
                nodes.receive(Envelope(line.peer, line.address, b""), now)
                self._send(nodes)
        if all(line.is_open for line in self._lines.values()):
            return None
        return Instant(now + LOOK_EVERY)

    def _send(self, nodes: Nodes) -> None:
        for envelope in nodes.take_sends():
            at = self._clock.now()
            if not envelope.source.port:
                self._wires.receive(envelope, at)
                continue
            self._by_address[envelope.source].send(envelope.payload, envelope.destination)
            if self._sent is not None:
                self._sent(envelope, at)

    def _envelope(self, name: str, peer: Address, payload: bytes) -> Envelope:
        if not peer.port:
            line = next(line for line in self._lines.values() if line.peer == peer)
            return Envelope(peer, line.address, payload)
        return Envelope(peer, self._local[name], payload)


def _groups(rack: Rack, nodes: list[Port]) -> list[Port]:
    """Let the nodes send to groups, and hear who asks all; on the interface that they are on."""
    groups = list(groups_of(rack))
    if not groups or not nodes:
        return []
    for port in nodes:
        pin_sending(port.socket, "", port.local.host)
    found = rack.discovery
    if found is None or found.group is None or found.ask is None:
        return []
    via = nodes[0].local.host
    return [GroupPort("everybody", found.group, via=via, receive_buffer=1 << 20)]


def _open(name: str, address: Address) -> Port:
    try:
        return Port(name, address.host, address.port, receive_buffer=1 << 20, errors=False)
    except OSError as error:
        kind = TakenError if error.errno == errno.EADDRINUSE else BenchError
        raise kind(
            f"the software node {name} cannot have {address}: {error.strerror or error}".lower()
        ) from error
