"""The relay as a process of its own, between the tool and the software nodes, with real sockets.

    tool ──▶ a node's address: front socket ──▶ machine ──▶ back socket ──▶ where the node is
    tool ◀── front socket ◀── machine ◀── back socket of that asker ◀── node

Every asker has a back socket of its own to each node, so that answers find the way back and a node
tells its listeners apart.  What it is to do comes down its standard input, pickled by the runner that
starts it (which trusts itself): its orders, then what to do instead of the script (None: the
script itself), `CALM` or `STOP`.  It begins calm; the runner lets it disturb while a case is on, so
that safe commands pass unharmed.  It calms down when the pipe closes, and ends a while after.
"""

import os
import pickle
import select
import signal
import socket
import struct
import sys
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from hil.bench.child import Child
from hil.bench.port import SocketAddress, address_of, resolve
from hil.bench.software import GRACE
from hil.bus.relay import Passing, Relay
from hil.core.error import BenchError
from hil.core.instant import SECOND, Duration, Instant
from hil.wire.disturbance import Disturbance, RelayScript, Way
from hil.wire.rack import Address, Rack

START_SECONDS = 20.0
MOST_ASKERS = 64
LARGEST = 65_535
BEHIND_HOST = "127.0.0.2"  # all of 127.0.0.0/8 is loopback on Linux

CALM, STOP = "calm", "stop"

_SIZE = struct.Struct("!I")


@dataclass(frozen=True, slots=True)
class Orders:
    """What the process is to do: where it listens for each node, and where the node is."""

    script: RelayScript
    fronts: Mapping[str, Address]
    backs: Mapping[str, Address]
    grace: Duration = GRACE


class RelayProcess:
    """The running relay; raises BenchError with the reason when it does not start."""

    def __init__(self, rack: Rack, backs: Mapping[str, Address], grace: Duration = GRACE) -> None:
        assert rack.relay is not None
        fronts = {node.name: node.address for node in rack.nodes if node.name in backs}
        orders = Orders(rack.relay, fronts, backs, grace)
        self._child = Child(
            "the relay",
            [sys.executable, "-P", "-c", "import hil.bench.relay as it; it.main()"],
            _packed(orders),
            seconds=START_SECONDS,
        )
        self.pid = self._child.pid

    @property
    def alive(self) -> bool:
        return self._child.alive

    def disturb(self, script: Sequence[Disturbance] | None = None) -> None:
        """Do what the bench file's script says from now on, or this instead of it."""
        self._child.tell(_packed(None if script is None else tuple(script)))

    def calm(self) -> None:
        """Let everything pass unharmed from now on."""
        self._child.tell(_packed(CALM))

    def stop(self) -> int:
        """End it now; returns its exit code."""
        self._child.tell(_packed(STOP))
        return self._child.end()

    def hang_up(self) -> None:
        """Let it go on for its grace, calm, without waiting for it."""
        self._child.hang_up()

    def leave(self, seconds: float) -> int:
        """Close its pipe and wait until it has ended by itself."""
        return self._child.end(seconds=seconds)


def behind(rack: Rack) -> dict[str, Address]:
    """Return where each node of a rack really is when its relay stands before it.

    Software nodes go to another loopback address, at the same port.  Raises BenchError where the
    bench file does not say where a node is.
    """
    assert rack.relay is not None
    found = dict(rack.relay.behind)
    for node in rack.nodes:
        if node.address.port == 0:
            continue  # no relay stands in a serial line
        if node.name not in found and rack.software is not None:
            if not node.address.host.startswith("127."):
                raise BenchError(
                    f"the relay cannot stand before {node.name} at {node.address}: software nodes "
                    "behind a relay need addresses in 127.0.0.0/8"
                )
            found[node.name] = node.address._replace(host=BEHIND_HOST)
    networked = [node.name for node in rack.nodes if node.address.port]
    lacking = [name for name in networked if name not in found]
    if lacking:
        raise BenchError(
            f"the relay does not know where {', '.join(lacking)} really is\n"
            "    try: name its address under relay: behind:"
        )
    return found


def moved(rack: Rack, backs: Mapping[str, Address]) -> Rack:
    """Return the rack with its nodes where they really are."""
    nodes = tuple(replace(node, address=backs.get(node.name, node.address)) for node in rack.nodes)
    return replace(rack, nodes=nodes)


class Switch:
    """All sockets of a relay, and the machine between them.  Raises BenchError."""

    def __init__(self, orders: Orders, machine: Relay) -> None:
        self._backs = orders.backs
        self._machine = machine
        self._fronts: dict[int, tuple[str, socket.socket]] = {}
        self._askers: dict[int, tuple[str, socket.socket, Address]] = {}
        self._to_node: dict[tuple[str, Address], socket.socket] = {}
        self._front_of: dict[str, socket.socket] = {}
        for name, address in orders.fronts.items():
            try:
                made = _bound(address)
            except OSError as error:
                self.close()
                reason = (error.strerror or str(error)).lower()
                raise BenchError(f"the relay cannot have {address} of {name}: {reason}") from error
            self._fronts[made.fileno()] = (name, made)
            self._front_of[name] = made

    def close(self) -> None:
        for _, made in self._fronts.values():
            made.close()
        for _, made, _ in self._askers.values():
            made.close()

    def turn(self, fd: int, longest: float) -> bool:
        """Wait for something, at most so many seconds, and pass it on.

        Returns True where `fd` has news; that is looked at before any datagram is, because it
        was said before.
        """
        wakeup = self._machine.next_wakeup()
        if wakeup is not None:
            longest = min(longest, max(0, wakeup - _now()) / SECOND)
        ready, _, _ = select.select([fd, *self._fronts, *self._askers], (), (), longest)
        if fd in ready:
            return True
        for number in ready:
            if number in self._fronts:
                self._from_tool(*self._fronts[number])
            elif number in self._askers:
                self._from_node(*self._askers[number])
        self._machine.tick(_now())
        for thing in self._machine.take_sends():
            self._pass_on(thing)
        return False

    def _from_tool(self, node: str, front: socket.socket) -> None:
        for payload, asker in _received(front):
            self._machine.receive(Passing(node, Way.TO_NODE, payload, asker), _now())

    def _from_node(self, node: str, back: socket.socket, asker: Address) -> None:
        for payload, source in _received(back):
            if source == self._backs[node]:
                self._machine.receive(Passing(node, Way.FROM_NODE, payload, asker), _now())

    def _pass_on(self, thing: Passing) -> None:
        assert isinstance(thing.ticket, Address)
        with suppress(OSError):  # nobody listens there: lost, as on any line
            if thing.way is Way.FROM_NODE:
                self._front_of[thing.node].sendto(thing.payload, _target(thing.ticket))
            else:
                back = self._back(thing.node, thing.ticket)
                back.sendto(thing.payload, _target(self._backs[thing.node]))

    def _back(self, node: str, asker: Address) -> socket.socket:
        made = self._to_node.get((node, asker))
        if made is None:
            if len(self._askers) >= MOST_ASKERS * len(self._fronts):
                raise OSError("too many askers")
            host = "::" if ":" in self._backs[node].host else "0.0.0.0"
            made = self._to_node[(node, asker)] = _bound(Address(host, 0))
            self._askers[made.fileno()] = (node, made, asker)
        return made


def main() -> None:
    """Run as the child of a runner."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)  # the pipe's end is the only word that counts
    stream = sys.stdin.buffer
    (size,) = _SIZE.unpack(stream.read(_SIZE.size))
    orders = pickle.loads(stream.read(size))
    assert isinstance(orders, Orders)
    machine = Relay(orders.script, orders.fronts, _now())
    machine.calm()
    try:
        switch = Switch(orders, machine)
    except BenchError as error:
        print(" ".join(str(error).split()), flush=True)
        return
    print("ready", flush=True)
    serve(switch, machine, sys.stdin.fileno(), orders.grace)
    switch.close()


def serve(switch: Switch, machine: Relay, fd: int, grace: Duration) -> None:
    """Pass on until it is told to stop, or for the grace after `fd` closes."""
    os.set_blocking(fd, False)
    heard = b""
    while True:
        if not switch.turn(fd, 1.0):
            continue
        octets = os.read(fd, 65_536)
        if not octets:
            break
        heard += octets
        while (word := _word(heard)) is not None:
            heard = heard[len(_packed(word[0])) :]
            if word[0] == STOP:
                return
            if word[0] == CALM:
                machine.calm()
            else:
                machine.disturb(word[0])
    machine.calm()
    idle, spare = os.pipe()  # `fd` would be ready for ever
    end = _now() + grace
    while (left := end - _now()) > 0:
        switch.turn(idle, left / SECOND)
    os.close(idle)
    os.close(spare)


def _packed(word: object) -> bytes:
    octets = pickle.dumps(word)
    return _SIZE.pack(len(octets)) + octets


def _word(heard: bytes) -> tuple[Any] | None:
    """Return the first whole word of what was heard, in a tuple; None where there is none yet."""
    if len(heard) < _SIZE.size:
        return None
    (size,) = _SIZE.unpack_from(heard)
    octets = heard[_SIZE.size : _SIZE.size + size]
    return (pickle.loads(octets),) if len(octets) == size else None


def _now() -> Instant:
    return Instant(time.monotonic_ns())


def _bound(address: Address) -> socket.socket:
    family, local = resolve(address.host, address.port, "the relay")
    made = socket.socket(family, socket.SOCK_DGRAM)
    try:
        made.setblocking(False)
        made.bind(local)
    except OSError:
        made.close()
        raise
    return made


@lru_cache(maxsize=1024)
def _target(address: Address) -> SocketAddress:
    return resolve(address.host, address.port, "the relay")[1]


def _received(made: socket.socket) -> list[tuple[bytes, Address]]:
    found: list[tuple[bytes, Address]] = []
    while True:
        try:
            payload, peer = made.recvfrom(LARGEST)
        except BlockingIOError:
            return found
        except OSError:  # an ICMP error of something sent before
            continue
        found.append((payload, address_of(peer)))
