"""Waiting for nodes whose power was switched: they must be heard again, and be who they must be.

Each is asked who it is (Inquiry), again and again, until it answers or its time is over.  A reboot
that this brings to light so belongs to the case that made it, and not to the one after.
"""

from collections.abc import Container, Mapping

from hil.core.errand import Inquiry
from hil.core.instant import MILLISECOND, Duration, Instant, after, earliest, show_duration
from hil.core.observation import Confirmed, Observation, Unconfirmed
from hil.core.scene import Scene

PAUSE = Duration(200 * MILLISECOND)
"""How long after an inquiry without an answer the next one is made."""


class Returning:
    """The machine; `nodes` are how long each may take.  `missing` says which did not come back."""

    def __init__(
        self,
        scene: Scene,
        nodes: Mapping[str, Duration],
        start: Instant,
        limit: Instant | None = None,
    ) -> None:
        self._scene, self._limit = scene, limit
        self._patience = dict(nodes)
        self._until = {node: after(start, patience) for node, patience in nodes.items()}
        self._again: dict[str, Instant] = {}
        self.missing: dict[str, str] = {}
        for node in nodes:
            scene.driving.wish(Inquiry(node=node))

    @property
    def done(self) -> bool:
        return not self._until

    def hurry(self, limit: Instant) -> None:
        """Wait no longer than until `limit`."""
        self._limit = limit if self._limit is None else min(limit, self._limit)

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take in who a node is, or that nobody knows."""
        if isinstance(seen, Confirmed):
            self._until.pop(seen.node, None)
            self._again.pop(seen.node, None)
        elif isinstance(seen, Unconfirmed) and seen.node in self._until:
            self._again[seen.node] = after(now, PAUSE)
        self.tick(now)

    def tick(self, now: Instant) -> None:
        """Ask again what is due, give up what took too long."""
        for node, until in list(self._until.items()):
            if now > until or (self._limit is not None and now >= self._limit):
                waited = show_duration(self._patience[node])
                self.missing[node] = f"{node} was not heard again within {waited}"
                del self._until[node]
                self._again.pop(node, None)
            elif node in self._again and now >= self._again[node]:
                del self._again[node]
                self._scene.driving.wish(Inquiry(node=node))

    def next_wakeup(self) -> Instant | None:
        """Return when somebody is asked again, or given up."""
        if self.done:
            return None
        ends = [Instant(until + 1) for until in self._until.values()]
        return earliest(self._limit, *self._again.values(), *ends)

    def heeds(self) -> Container[str]:
        """Return no node: their samples change nothing here."""
        return ()

    def take_sends(self) -> tuple[()]:
        """Return nothing: questions leave through the scene's driving."""
        return ()
