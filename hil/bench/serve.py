"""Serving the software nodes on real sockets: one socket per node, at the node's own address.

The nodes are the same machines as on the virtual bench; only the clock and the wires are real.
"""

import errno
from collections.abc import Callable

from hil.bench.child import TakenError
from hil.bench.clock import StampClock
from hil.bench.port import Port
from hil.bench.ports import Ports, kernel_stamps
from hil.bench.virtual import Nodes
from hil.core.error import BenchError
from hil.core.instant import Instant
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
                opened.append(_open(node.name, node.address))
        except BenchError:
            for port in opened:
                port.close()
            raise
        self._by_address = {self._local[port.name]: port for port in opened}
        for port in opened:
            for address in self._by_address:
                port.know(address)
        self._ports: Ports[Envelope] = Ports(
            opened, self._clock, self._envelope, extra=(fd,), stamped=stamped
        )

    def now(self) -> Instant:
        return self._clock.now()

    def turn(self, nodes: Nodes, until: Instant | None) -> None:
        """Wait for something to do, at most until the instant given, and let the nodes do it."""
        self._send(nodes)
        wakeup = nodes.next_wakeup()
        if wakeup is None or (until is not None and until < wakeup):
            wakeup = until
        self._ports.sleep(wakeup, self._clock.now())
        heard, horizon = self._ports.drain()
        for envelope, at in heard:
            self._timers(nodes, Instant(at - 1))
            nodes.receive(envelope, at)
            self._send(nodes)
        self._timers(nodes, horizon)

    def forget(self, fd: int) -> None:
        """Do not wake for this file any more."""
        self._ports.forget(fd)

    def close(self) -> None:
        self._ports.close()

    def _timers(self, nodes: Nodes, limit: Instant) -> None:
        while (wakeup := nodes.next_wakeup()) is not None and wakeup <= limit:
            nodes.tick(wakeup)
            self._send(nodes)

    def _send(self, nodes: Nodes) -> None:
        for envelope in nodes.take_sends():
            at = self._clock.now()
            self._by_address[envelope.source].send(envelope.payload, envelope.destination)
            if self._sent is not None:
                self._sent(envelope, at)

    def _envelope(self, name: str, peer: Address, payload: bytes) -> Envelope:
        return Envelope(peer, self._local[name], payload)


def _open(name: str, address: Address) -> Port:
    try:
        return Port(name, address.host, address.port, receive_buffer=1 << 20, errors=False)
    except OSError as error:
        kind = TakenError if error.errno == errno.EADDRINUSE else BenchError
        raise kind(
            f"the software node {name} cannot have {address}: {error.strerror or error}".lower()
        ) from error
