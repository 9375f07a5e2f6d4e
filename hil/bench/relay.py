"""The relay as a process of its own, between the tool and the software nodes, with real sockets.

hil.bench.relay_switch has its sockets.  What it is to do comes down its standard input, pickled by
the runner that starts it (which trusts itself): its orders, then what to do instead of the script
(None: the script itself), `CALM` or `STOP`.  It begins calm; the runner lets it disturb while a
case is on, so that safe commands pass unharmed.  It calms down when the pipe closes, and ends a
while after.
"""

import os
import pickle
import signal
import struct
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from hil.bench.child import Child
from hil.bench.relay_switch import Orders, Switch, now
from hil.bench.software import GRACE
from hil.bus.relay import Relay
from hil.core.error import BenchError
from hil.core.instant import SECOND, Duration
from hil.wire.disturbance import Disturbance
from hil.wire.mail import groups_of
from hil.wire.rack import Address, Rack

START_SECONDS = 20.0
BEHIND_HOST = "127.0.0.2"  # all of 127.0.0.0/8 is loopback on Linux

CALM, STOP = "calm", "stop"

_SIZE = struct.Struct("!I")


class RelayProcess:
    """The running relay; raises BenchError with the reason when it does not start."""

    def __init__(self, rack: Rack, backs: Mapping[str, Address], grace: Duration = GRACE) -> None:
        assert rack.relay is not None
        fronts = {node.name: node.address for node in rack.nodes if node.name in backs}
        groups = {aside: group for group, aside in aside_of(rack).items()}
        orders = Orders(rack.relay, fronts, backs, grace, groups, rack.interface)
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
    if found and (groups := aside_of(rack)) and rack.relay.behind:
        raise BenchError(
            f"no relay can stand before real nodes that tell the group {next(iter(groups))} "
            "something by themselves: it would come from where they really are\n"
            "    try: leave out `behind`, or `readings-to` and the group under `discovery`"
        )
    networked = [node.name for node in rack.nodes if node.address.port]
    lacking = [name for name in networked if name not in found]
    if lacking:
        raise BenchError(
            f"the relay does not know where {', '.join(lacking)} really is\n"
            "    try: name its address under relay: behind:"
        )
    return found


def moved(rack: Rack, backs: Mapping[str, Address]) -> Rack:
    """Return the rack with its nodes where they really are, and the groups that they tell aside."""
    asides = aside_of(rack) if backs else {}
    nodes = tuple(
        replace(
            node,
            address=backs.get(node.name, node.address),
            readings_to=node.readings_to and asides.get(node.readings_to, node.readings_to),
        )
        for node in rack.nodes
    )
    found = rack.discovery
    if found is not None and found.group is not None:
        found = replace(found, group=asides.get(found.group, found.group))
    return replace(rack, nodes=nodes, discovery=found)


def aside_of(rack: Rack) -> dict[Address, Address]:
    """Return for each group of a rack the same group at a port that none of them has."""
    groups = list(groups_of(rack))
    taken = {group.port for group in groups}
    free = (port for port in range(max(taken, default=0) + 1, 65_536) if port not in taken)
    return {group: group._replace(port=next(free, 0)) for group in groups}


def main() -> None:
    """Run as the child of a runner."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)  # the pipe's end is the only word that counts
    stream = sys.stdin.buffer
    (size,) = _SIZE.unpack(stream.read(_SIZE.size))
    orders = pickle.loads(stream.read(size))
    assert isinstance(orders, Orders)
    machine = Relay(orders.script, orders.fronts, now())
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
    end = now() + grace
    while (left := end - now()) > 0:
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
