"""The relay of a virtual bench: the same machine, before the medium, in the same process.

What goes between the tool and a node passes it, and what a node tells a group; what nodes say to one
another does not.
"""

from collections.abc import Sequence
from dataclasses import replace

from hil.bench.medium import Medium, SteadyMedium
from hil.bench.virtual import tool_addresses
from hil.bus.relay import Passing, Relay
from hil.core.instant import Instant, earliest
from hil.wire.disturbance import Disturbance, Way
from hil.wire.mail import groups_of
from hil.wire.rack import Envelope, Rack


class RelayMedium:
    """A medium behind a relay; calm until it is told to disturb."""

    def __init__(self, rack: Rack, start: Instant, inner: Medium | None = None) -> None:
        assert rack.relay is not None
        self._inner: Medium = SteadyMedium() if inner is None else inner
        self._machine = Relay(rack.relay, [node.name for node in rack.nodes], start)
        self._machine.calm()
        self._names = {node.address: node.name for node in rack.nodes}
        self._tool = {*tool_addresses(rack).values(), *groups_of(rack)}

    def disturb(self, script: Sequence[Disturbance] | None = None) -> None:
        """Do what the bench file's script says from now on, or this instead of it."""
        self._machine.disturb(script)

    def calm(self) -> None:
        """Let everything pass unharmed from now on."""
        self._machine.calm()

    def receive(self, thing: Envelope, now: Instant) -> None:
        node, way = self._names.get(thing.destination), Way.TO_NODE
        if thing.destination in self._tool:
            node, way = self._names.get(thing.source), Way.FROM_NODE
        elif thing.source not in self._tool:
            node = None
        if node is None:
            self._inner.receive(thing, now)
            return
        self._machine.receive(Passing(node, way, thing.payload, thing), now)
        self._pass_on(now)

    def tick(self, now: Instant) -> None:
        self._machine.tick(now)
        self._pass_on(now)
        self._inner.tick(now)

    def next_wakeup(self) -> Instant | None:
        return earliest(self._machine.next_wakeup(), self._inner.next_wakeup())

    def take_sends(self) -> tuple[Envelope, ...]:
        return self._inner.take_sends()

    def _pass_on(self, now: Instant) -> None:
        for thing in self._machine.take_sends():
            assert isinstance(thing.ticket, Envelope)
            self._inner.receive(replace(thing.ticket, payload=thing.payload), now)
