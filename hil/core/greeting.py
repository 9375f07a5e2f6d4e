"""Before a case drives anything: is every node that it uses still the one it must be?

A machine: it asks for each node (Inquiry) and waits until the links have an answer for every one
of them.  It has no patience of its own; how long a node may take is the links' business.
"""

from collections.abc import Container, Sequence

from hil.core.errand import Inquiry
from hil.core.event import Event, NodeConfirmed
from hil.core.instant import Instant
from hil.core.observation import Confirmed, Observation, Unconfirmed
from hil.core.scene import Scene


class Greeting:
    """The question to all nodes of a case; `unconfirmed` says of which nobody knows why."""

    def __init__(self, scene: Scene, nodes: Sequence[str]) -> None:
        self._scene = scene
        self._waiting = set(nodes)
        self.unconfirmed: dict[str, str] = {}
        for node in nodes:
            scene.driving.wish(Inquiry(node=node))

    @property
    def done(self) -> bool:
        return not self._waiting

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take in what the links found out about a node."""
        if not isinstance(seen, (Confirmed, Unconfirmed)) or seen.node not in self._waiting:
            return
        self._waiting.discard(seen.node)
        if isinstance(seen, Unconfirmed):
            self.unconfirmed[seen.node] = seen.detail
        else:
            self._scene.events.append(confirmed(seen, self._scene.since_origin(seen.at), "case"))

    def tick(self, now: Instant) -> None:
        """Wait for the links, however long that takes."""

    def next_wakeup(self) -> None:
        """Return nothing: the links wake themselves."""

    def heeds(self) -> Container[str]:
        """Return no node: their samples change nothing here."""
        return ()

    def take_sends(self) -> tuple[()]:
        """Return nothing: questions leave through the scene's driving."""
        return ()


def confirmed(seen: Confirmed, at: Instant, why: str) -> Event:
    """Return the journal's line about a node that is who it must be; `why` it was asked."""
    return NodeConfirmed(
        at=at, node=seen.node, why=why, facts=seen.facts, asked=seen.asked, took=seen.took
    )
