"""The head unit as a node: the endpoint that others talk to, and the one that talks to others.

    readings of peers ──▶ Peers ──▶ changes ──decision time──▶ Console ──▶ commands ──▶ Peers

Requests to the head unit itself are served like any other node's (hil.nodes.node).
"""

from collections.abc import Collection, Mapping, Sequence

from hil.core.instant import Instant
from hil.nodes.console import LISTENED, Console
from hil.nodes.node import SoftwareNode
from hil.nodes.noise import Noise
from hil.nodes.peers import Peers
from hil.nodes.settings import Settings
from hil.wire.layout import Codec
from hil.wire.rack import Envelope, Node


class HeadUnit(SoftwareNode):
    """The machine of the head unit."""

    def __init__(
        self,
        node: Node,
        codecs: Mapping[str, Sequence[Codec]],
        console: Console,
        others: Collection[Node],
        settings: Settings,
        noise: Noise,
        start: Instant,
    ) -> None:
        self._console = console
        self._decision_time = settings.duration("decision-time")
        self._decision: Instant | None = None
        super().__init__(node, codecs[node.name], console, settings, noise, start)
        silence = settings.duration("silence")
        self.peers = Peers(node.address, others, codecs, LISTENED, silence, start, self.outbox)

    def receive(self, thing: Envelope, now: Instant) -> None:
        """Take a peer's reading or answer, or a request like any node."""
        if self._down_until is not None:
            return
        if not self.peers.receive(thing, now):
            super().receive(thing, now)
            return
        self._think(now)

    def tick(self, now: Instant) -> None:
        """Do what is due, decide what is due."""
        target, boots = self._console.values["target-temperature"], self._boots
        super().tick(now)
        if self._down_until is not None:
            self._decision = None
            return
        if self._boots != boots:
            self.peers.restart(now)
        self.peers.tick(now)
        if self._console.values["target-temperature"] != target and self._decision is None:
            self._decision = Instant(now + self._decision_time)
        self._think(now)
        if self._decision is not None and now >= self._decision:
            self._decide(now)

    def next_wakeup(self) -> Instant | None:
        """Return when something is due."""
        if self._down_until is not None:
            return self._down_until
        wakeup, decision, due = super().next_wakeup(), self._decision, self.peers.next_wakeup()
        if decision is not None and (wakeup is None or decision < wakeup):
            wakeup = decision
        return due if wakeup is None or (due is not None and due < wakeup) else wakeup

    @property
    def settled(self) -> bool:
        """Whether it has heard all it decides by, has decided, and was obeyed."""
        return self._down_until is None and self._decision is None and self.peers.settled

    def _think(self, now: Instant) -> None:
        """Plan a decision, where something that matters has changed."""
        changed = self.peers.take_changes()
        if changed and self._decision is None and self._console.concerned(changed):
            self._decision = Instant(now + self._decision_time)

    def _decide(self, now: Instant) -> None:
        self._decision = None
        before = dict(self._console.values)
        for path, value in self._console.decide(self.peers.seen, now).items():
            self.peers.command(path, value, now)
        for path, value in self._console.parked.items():
            self.peers.command(path, value, now)
            self.peers.forget(path)
        if self._console.values != before:
            self._report(now)
