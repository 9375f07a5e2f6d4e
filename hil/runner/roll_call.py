"""The roll call before a run: is every node there, and is it who it must be?

A machine that sends nothing itself: the links ask the nodes, this one listens.  A node is present
once a reading of it arrived.  Nodes that the plans do not use are waited for only a moment.

    done when  every node is present
           or  all required ones are and `GRACE` is over
           or  `LIMIT` is over
"""

from collections.abc import Sequence

from hil.core.instant import MILLISECOND, SECOND, Duration, Instant, after, show_duration
from hil.core.observation import NodeNote, NodeTrouble, Observation, Samples
from hil.wire.rack import Node

GRACE = Duration(500 * MILLISECOND)
LIMIT = Duration(3 * SECOND)


class RollCall:
    """Who answered; `wrong` says of every required node that is not as it must be, why."""

    def __init__(self, nodes: Sequence[Node], required: Sequence[str], start: Instant) -> None:
        self._nodes = {node.name: node for node in nodes}
        self._required = [name for name in self._nodes if name in set(required)]
        self._grace, self._limit = after(start, GRACE), after(start, LIMIT)
        self._now = start
        self._heard: dict[str, str] = {}
        self._impostors: dict[str, str] = {}
        # A node that can be neither listened to nor asked may only speak when spoken to.
        self.present = {node.name for node in nodes if _cannot_be_called(node)}

    @property
    def done(self) -> bool:
        if self._now >= self._limit or len(self.present) == len(self._nodes):
            return True
        return self._now >= self._grace and self.present.issuperset(self._required)

    @property
    def wrong(self) -> dict[str, str]:
        """Return what is wrong with which required node, in words."""
        found: dict[str, str] = {}
        for name in self._required:
            if name in self._impostors:
                found[name] = self._impostors[name]
            elif name not in self.present:
                found[name] = self._silence(self._nodes[name])
        return found

    def receive(self, seen: Observation, now: Instant) -> None:
        """Note who spoke."""
        self._now = now
        if isinstance(seen, Samples):
            self.present.add(seen.node)
        elif isinstance(seen, NodeNote):
            self._heard[seen.node] = seen.text
            if seen.trouble is NodeTrouble.IDENTITY:
                self._impostors[seen.node] = seen.text

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        self._now = now

    def next_wakeup(self) -> Instant | None:
        """Return when waiting ends next."""
        if self.done:
            return None
        return self._grace if self._now < self._grace else self._limit

    def take_sends(self) -> tuple[()]:
        """Return nothing: the links do the asking."""
        return ()

    def _silence(self, node: Node) -> str:
        heard = self._heard.get(node.name)
        aside = f"; last heard of it: {heard}" if heard else ""
        return f"no reading from {node.address} within {show_duration(LIMIT)}{aside}"


def _cannot_be_called(node: Node) -> bool:
    listened_to = node.listen is not None and node.renew is not None
    return not listened_to and (node.read is None or node.poll is None)
