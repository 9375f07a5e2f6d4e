"""What was observed, made again from what a recording holds.

datagrams, console lines ──▶ hil.wire.overheard ──▶ samples, notes
notes on nodes and host  ──▶ the same once more, where datagrams do not tell them
"""

from hil.core.event import ConsoleLine, Datagram, Event, ForeignDatagram, HostNoted, NodeNoted
from hil.core.instant import Instant
from hil.core.observation import HostNote, HostTrouble, NodeNote, NodeTrouble, Observation
from hil.report.capture.ends import address
from hil.wire.overheard import Overheard
from hil.wire.rack import Rack

HEARD = (Datagram, ForeignDatagram, ConsoleLine)
"""What a third who listened would have heard; it comes before what is due at its instant."""

_HOST = {trouble.value: trouble for trouble in HostTrouble}
_NODE = {
    trouble.value: trouble
    for trouble in (
        NodeTrouble.UNREACHABLE,
        NodeTrouble.REFUSED,
        NodeTrouble.UNANSWERED,
        NodeTrouble.SUBSCRIPTION,
    )
}
"""Notes that cannot be made from what was said; all others are made anew."""


class Playback:
    """The machine; `unreadable` counts recorded datagrams and lines that are no octets."""

    def __init__(self, rack: Rack) -> None:
        self._overheard = Overheard(rack)
        self._notes: list[Observation] = []
        self.unreadable = 0

    def receive(self, event: Event, now: Instant) -> None:
        """Take in one event of the recording; most are no observation."""
        if isinstance(event, HEARD):
            try:
                self._hear(event)
            except ValueError:
                self.unreadable += 1
        elif isinstance(event, HostNoted):
            host = _HOST.get(event.trouble)
            if host is not None:
                note = HostNote(trouble=host, at=now, amount=event.amount, text=event.text)
                self._notes.append(note)
        elif isinstance(event, NodeNoted) and (trouble := _NODE.get(event.trouble)) is not None:
            if trouble is NodeTrouble.UNREACHABLE:
                self._overheard.unreachable(event.node, event.text, now)
            self._notes.append(NodeNote(node=event.node, trouble=trouble, at=now, text=event.text))

    def _hear(self, event: Datagram | ForeignDatagram | ConsoleLine) -> None:
        """Pass on what was said.  Raises ValueError for what is no octets."""
        overheard = self._overheard
        octets = bytes.fromhex(event.hex)
        if isinstance(event, ConsoleLine):
            overheard.stood(event, octets)
        elif isinstance(event, ForeignDatagram):
            overheard.came(event.node, address(event.peer), octets, event.at)
        elif event.way == "out":
            overheard.sent(event.node, octets, event.at)
        else:
            overheard.came(event.node, None, octets, event.at)

    def tick(self, now: Instant) -> None:
        """Learn that time has reached `now`."""
        self._overheard.tick(now)

    def next_wakeup(self) -> Instant | None:
        """Return when a value grows stale."""
        return self._overheard.next_wakeup()

    def take_observations(self) -> list[Observation]:
        """Hand over what was observed, in its order."""
        notes, self._notes = self._notes, []
        return [*self._overheard.take_observations(), *notes]
