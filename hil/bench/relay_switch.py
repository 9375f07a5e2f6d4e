"""The sockets of a relay, and the machine between them.

    tool ──▶ a node's address: front socket ──▶ machine ──▶ back socket ──▶ where the node is
    tool ◀── front socket ◀── machine ◀── back socket of that asker ◀── node

Every asker has a back socket of its own to each node, so that answers find the way back and a node
tells its listeners apart.  What software nodes tell a group goes to the same group at another port,
where the relay hears it, and from the node's front socket to the group itself.
"""

import select
import socket
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import lru_cache

from hil.bench.group import GroupPort, pin_sending
from hil.bench.port import SocketAddress, address_of, resolve
from hil.bench.software import GRACE
from hil.bus.relay import Passing, Relay
from hil.core.error import BenchError
from hil.core.instant import SECOND, Duration, Instant
from hil.wire.disturbance import RelayScript, Way
from hil.wire.rack import Address

MOST_ASKERS = 64
LARGEST = 65_535


@dataclass(frozen=True, slots=True)
class Orders:
    """What the process is to do: where it listens for each node, and where the node is.

    `groups` are the groups of the rack by where nodes tell them instead.
    """

    script: RelayScript
    fronts: Mapping[str, Address]
    backs: Mapping[str, Address]
    grace: Duration = GRACE
    groups: Mapping[Address, Address] = field(default_factory=dict)
    interface: str = ""


class Switch:
    """All sockets of a relay, and the machine between them.  Raises BenchError."""

    def __init__(self, orders: Orders, machine: Relay) -> None:
        self._backs = orders.backs
        self._machine = machine
        self._fronts: dict[int, tuple[str, socket.socket]] = {}
        self._askers: dict[int, tuple[str, socket.socket, Address]] = {}
        self._to_node: dict[tuple[str, Address], socket.socket] = {}
        self._front_of: dict[str, socket.socket] = {}
        self._told: dict[int, tuple[GroupPort, Address]] = {}
        for name, address in orders.fronts.items():
            try:
                made = _bound(address)
            except OSError as error:
                self.close()
                reason = (error.strerror or str(error)).lower()
                raise BenchError(f"the relay cannot have {address} of {name}: {reason}") from error
            self._fronts[made.fileno()] = (name, made)
            self._front_of[name] = made
        self._nodes = {back: name for name, back in orders.backs.items()}
        for aside, group in orders.groups.items():
            self._overhear(aside, group, orders.interface)

    def _overhear(self, aside: Address, group: Address, interface: str) -> None:
        """Hear what nodes tell a group, and let their front sockets tell it."""
        try:
            port = GroupPort("the relay", aside, interface=interface)
            for made in self._front_of.values():
                pin_sending(made, interface, "")
        except (OSError, BenchError) as error:
            self.close()
            raise BenchError(f"the relay cannot hear the group {group}: {error}") from error
        self._told[port.socket.fileno()] = (port, group)

    def close(self) -> None:
        for port, _ in self._told.values():
            port.close()
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
            longest = min(longest, max(0, wakeup - now()) / SECOND)
        heard = [fd, *self._fronts, *self._askers, *self._told]
        ready, _, _ = select.select(heard, (), (), longest)
        if fd in ready:
            return True
        for number in ready:
            if number in self._fronts:
                self._from_tool(*self._fronts[number])
            elif number in self._askers:
                self._from_node(*self._askers[number])
            elif number in self._told:
                self._to_group(*self._told[number])
        self._machine.tick(now())
        for thing in self._machine.take_sends():
            self._pass_on(thing)
        return False

    def _from_tool(self, node: str, front: socket.socket) -> None:
        for payload, asker in _received(front):
            self._machine.receive(Passing(node, Way.TO_NODE, payload, asker), now())

    def _from_node(self, node: str, back: socket.socket, asker: Address) -> None:
        for payload, source in _received(back):
            if source == self._backs[node]:
                self._machine.receive(Passing(node, Way.FROM_NODE, payload, asker), now())

    def _to_group(self, port: GroupPort, group: Address) -> None:
        for payload, source in _received(port.socket):
            node = self._nodes.get(source)
            if node is not None:
                self._machine.receive(Passing(node, Way.FROM_NODE, payload, group), now())

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


def now() -> Instant:
    """Return the instant of the clock that a relay goes by."""
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
