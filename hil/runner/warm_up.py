"""One exchange with every node that can be asked, before anything is timed.

The first datagram to a node may wait, or be lost, while its hardware address is found (ARP,
RFC 826; neighbour discovery, RFC 4861 §7.2.2), and caches are cold.  None of that may count in
the first latency.  The exchange is journalled, and so is every request of it that was lost.
"""

from collections.abc import Sequence

from hil.core.errand import Inquiry
from hil.core.event import Event, NodeNoted
from hil.core.greeting import confirmed
from hil.core.instant import Instant
from hil.core.observation import Confirmed, NodeTrouble, Unconfirmed
from hil.wire.rack import Node


def can_be_asked(node: Node) -> bool:
    """Return whether there is an exchange with a node, or something that it told by itself."""
    if node.console is not None and not node.address.port:
        return node.console.identify is not None or node.console.boot is not None
    return node.read is not None or node.coap is not None


class WarmUp:
    """The exchange with these nodes; over when each has answered or was given up."""

    def __init__(self, nodes: Sequence[str]) -> None:
        self._waiting = set(nodes)
        self._sends = tuple(Inquiry(node=node) for node in nodes)

    @property
    def done(self) -> bool:
        return not self._waiting

    def drop(self, node: str) -> None:
        """Wait no longer for a node: another one is in its place, and that is told already."""
        self._waiting.discard(node)

    def receive(self, seen: Confirmed | Unconfirmed, at: Instant) -> Event:
        """Take in how it went with one node; return what the journal is told."""
        self._waiting.discard(seen.node)
        if isinstance(seen, Confirmed):
            return confirmed(seen, at, "warm-up")
        trouble, text = NodeTrouble.UNANSWERED.value, f"warm-up: {seen.detail}"
        return NodeNoted(at=at, node=seen.node, trouble=trouble, text=text)

    def take_sends(self) -> tuple[Inquiry, ...]:
        """Hand over the questions, once."""
        sends, self._sends = self._sends, ()
        return sends
