"""The software rack as a process of its own, with real sockets.

Its orders come down its standard input: the rack, pickled by the runner that starts it (which
trusts itself).  It answers `ready`, with the pseudo-terminals of its consoles, or a sentence.  It ends at the word `stop`, and by itself a
while after the pipe closes without it: long enough for the guard to make the rack safe.
"""

import json
import os
import pickle
import signal
import struct
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import IO, Protocol

from hil.bench.child import READY, TAKEN, Child, TakenError
from hil.bench.interrupt import Interrupts
from hil.bench.serve import Sent, Service
from hil.bench.terminal import Published
from hil.bench.virtual import Nodes
from hil.core.error import HilError
from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.wire.rack import Envelope, Rack

GRACE = Duration(5 * SECOND)
"""How long the nodes live on without a runner; the guard needs at most half of it."""

START_SECONDS = 20.0

SETTLING = Duration(2 * SECOND)
"""How long nodes are given at most to know each other before they are `ready`."""

_LOOK = Duration(5 * MILLISECOND)
_SIZE = struct.Struct("!I")


class Settling(Nodes, Protocol):
    """Nodes that can say whether they know each other."""

    @property
    def settled(self) -> bool: ...


@dataclass(frozen=True, slots=True)
class Orders:
    """What the process is to serve; `stamps` is a file for the instant of every sending."""

    rack: Rack
    stamps: str = ""
    grace: Duration = GRACE


class SoftwareProcess:
    """The running software nodes of a rack; raises BenchError with the reason when they do not."""

    def __init__(self, rack: Rack, *, stamps: str = "", grace: Duration = GRACE) -> None:
        self._grace = grace
        orders = pickle.dumps(Orders(rack, stamps, grace))
        self._child = Child(
            "the software rack",
            [sys.executable, "-P", "-c", "import hil.bench.software as it; it.main()"],
            _SIZE.pack(len(orders)) + orders,
            seconds=START_SECONDS,
        )
        self.pid = self._child.pid
        self.terminals: dict[str, str] = json.loads(self._child.answer)
        """What to open for the consoles of the nodes, by the names of these."""

    @property
    def alive(self) -> bool:
        return self._child.alive

    def stop(self) -> int:
        """End it now; returns its exit code."""
        self._child.tell(b"stop")
        return self._child.end()

    def hang_up(self) -> None:
        """Let it go on for its grace, without waiting for it."""
        self._child.hang_up()

    def leave(self) -> int:
        """Hang up, and wait until it has ended by itself."""
        return self._child.end(seconds=self._grace / SECOND + 5)


def settle(service: Service, nodes: Settling) -> None:
    """Serve until the nodes know each other, at most for a while."""
    end = Instant(service.now() + SETTLING)
    while not nodes.settled and (now := service.now()) < end:
        service.turn(nodes, Instant(now + _LOOK))


def serve_until_closed(service: Service, nodes: Nodes, fd: int, grace: Duration) -> None:
    """Serve until `stop` comes down `fd`, or for the grace after it closes."""
    os.set_blocking(fd, False)
    end: Instant | None = None
    while end is None or service.now() < end:
        service.turn(nodes, end)
        try:
            word = os.read(fd, 16) if end is None else None
        except BlockingIOError:
            continue
        if word:
            return
        if word == b"":
            service.forget(fd)
            end = Instant(service.now() + grace)


def serve_until_signal(
    rack: Rack, interrupts: Interrupts, ready: Callable[[], object] = lambda: None
) -> None:
    """Serve the software nodes of a rack in this process until a signal comes.

    Calls `ready` once every socket is open.  Raises BenchError where an address is taken and
    DescriptionError where the rack has no software model.
    """
    service = Service(rack, fd=interrupts.fd)
    lines = [Published(line.address, line.path) for line in service.lines]
    try:
        nodes = _software_rack(rack, service.now())
        settle(service, nodes)
        ready()
        while interrupts.number is None:
            service.turn(nodes, None)
    finally:
        for line in lines:
            line.close()
        service.close()


def main() -> None:
    """Run as the child of a runner."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)  # the pipe's end is the only word that counts
    orders = _read_orders(sys.stdin.buffer)
    fd = sys.stdin.fileno()
    stamps = open(orders.stamps, "w") if orders.stamps else None  # noqa: SIM115
    try:
        service = Service(orders.rack, fd=fd, sent=_writer(stamps))
        nodes = _software_rack(orders.rack, service.now())
        settle(service, nodes)
    except HilError as error:
        told = TAKEN if isinstance(error, TakenError) else ""
        print(told + " ".join(str(error).split()), flush=True)
        return
    print(READY, json.dumps(service.terminals), flush=True)
    serve_until_closed(service, nodes, fd, orders.grace)
    service.close()
    if stamps is not None:
        stamps.close()


def _read_orders(stream: IO[bytes]) -> Orders:
    """Read what the runner wants; it says nothing more until it was told `ready`."""
    (size,) = _SIZE.unpack(stream.read(_SIZE.size))
    orders = pickle.loads(stream.read(size))
    assert isinstance(orders, Orders)
    return orders


def _software_rack(rack: Rack, start: Instant) -> Settling:
    from hil.nodes.rack import SoftwareRack

    nodes: Settling = SoftwareRack(rack, start)
    return nodes


def _writer(stamps: IO[str] | None) -> Sent | None:
    if stamps is None:
        return None

    def write(envelope: Envelope, at: Instant) -> None:
        stamps.write(f"{at} {envelope.source} {envelope.payload.hex()}\n")

    return write
