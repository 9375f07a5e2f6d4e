"""Software nodes that say who they are: at power-up, after a restart, and when somebody asks all.

    ask ──at once or a moment later──▶ announce, to who asked
    boot ───────────────────────────▶ announce, to the group

Everybody is asked at once, so each node waits a moment of its own before it answers, as RFC 7252
§8.2 (leisure) has it for CoAP groups.
"""

from collections.abc import Mapping

from hil.core.instant import MILLISECOND, Duration, Instant
from hil.nodes.node import SoftwareNode
from hil.nodes.noise import Noise
from hil.wire.announce import Discovery, nobodys
from hil.wire.identity import identity_names
from hil.wire.rack import Address, Envelope

LEISURE = Duration(20 * MILLISECOND)


class Announcing:
    """The announces of all nodes of a rack, by their places in it; a machine."""

    def __init__(self, found: Discovery, nodes: Mapping[int, SoftwareNode], seed: int) -> None:
        assert found.announce is not None
        assert found.group is not None
        self._group = found.group
        self._announce = nobodys(found.announce)
        self._ask = None if found.ask is None else nobodys(found.ask)
        self._nodes = nodes
        self._leisure = {
            place: Noise(seed, f"announce {node.node.name}") for place, node in nodes.items()
        }
        self._boots = dict.fromkeys(nodes, 0)
        self._due: list[tuple[Instant, int, Address]] = []
        self.outbox: list[Envelope] = []

    def receive(self, thing: Envelope, now: Instant) -> bool:
        """Take a datagram if it asks who is there; return whether it does."""
        if self._ask is None or self._ask.head(thing.payload) is None:
            return False
        for place, node in self._nodes.items():
            if thing.destination in (self._group, node.node.address):
                wait = self._leisure[place].between(Duration(1), LEISURE)
                self._due.append((Instant(now + wait), place, thing.source))
        self._due.sort()
        return True

    def look(self, place: int, now: Instant) -> None:
        """Let a node announce itself where it has booted since the last look."""
        if place not in self._nodes:
            return
        boots = self._nodes[place].boots
        if boots != self._boots[place]:
            self._boots[place] = boots
            self._say(place, self._group, now)

    def tick(self, now: Instant) -> None:
        """Answer those whose moment has come."""
        while self._due and self._due[0][0] <= now:
            _, place, asker = self._due.pop(0)
            self._say(place, asker, now)

    def next_wakeup(self) -> Instant | None:
        """Return when the next answer is due."""
        return self._due[0][0] if self._due else None

    def _say(self, place: int, to: Address, now: Instant) -> None:
        node = self._nodes[place]
        uptime = node.uptime(now)
        if uptime is None:
            return  # it is just booting
        told = identity_names(self._announce)
        values = {name: node.model.values.get(name) or "" for name in told}
        payload = self._announce.encode(
            values, node=node.node.number, uptime=uptime, boots=node.boots
        )
        self.outbox.append(Envelope(node.node.address, to, payload))
