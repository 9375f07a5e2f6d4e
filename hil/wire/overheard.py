"""What is said between a tool and its nodes, heard by a third: from a recording, or off the wire.

    sent(node, payload, at)         a datagram left for a node      → what it drives, if anything
    came(node, peer, payload, at)   a datagram came from a node     → whose answer it is, if any

Readings become samples as they do in the links (hil.wire.reception), so that a recording shows what
the run saw.  Only nodes that speak datagrams of declared layouts can be overheard.
"""

from dataclasses import dataclass

from hil.core.instant import Instant
from hil.core.observation import NodeNote, NodeTrouble, Observation
from hil.core.signal import Value
from hil.wire.diagnosis import diagnose
from hil.wire.layout import Codec
from hil.wire.rack import Address, Carries, Node, Rack, Role
from hil.wire.reception import Reception, exchanged
from hil.wire.timers import Timers


@dataclass(frozen=True, slots=True, kw_only=True)
class Driven:
    """A request that drives a signal; `number` comes back in its answer, where it has one."""

    signal: str
    value: Value
    number: int | None
    operation: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Replied:
    """An answer: to which request, and whether it was done."""

    number: int | None
    operation: int | None
    accepted: bool
    detail: str


def can_be_overheard(node: Node) -> bool:
    """Say whether a node speaks datagrams of declared layouts, and those alone."""
    return bool(node.layouts) and node.coap is None and node.address.port != 0


class Overheard:
    """The machine over all nodes of a rack that can be overheard."""

    def __init__(self, rack: Rack) -> None:
        self._timers = Timers()
        self._observations: list[Observation] = []
        self._ears = {
            node.name: _Ear(node, self._timers, self._observations)
            for node in rack.nodes
            if can_be_overheard(node)
        }

    def sent(self, node: str, payload: bytes, at: Instant) -> Driven | None:
        """Take in what left for a node."""
        self._catch_up(at)
        ear = self._ears.get(node)
        return None if ear is None else ear.sent(payload, at)

    def came(self, node: str, peer: Address | None, payload: bytes, at: Instant) -> Replied | None:
        """Take in what came for the tool's socket of a node; `peer` where that was another one."""
        self._catch_up(at)
        ear = self._ears.get(node)
        return None if ear is None else ear.came(peer, payload, at)

    def tick(self, now: Instant) -> None:
        """Learn that time has reached `now`."""
        while self._timers.fire(now):
            pass

    def next_wakeup(self) -> Instant | None:
        """Return when a value grows stale."""
        return self._timers.next()

    def take_observations(self) -> list[Observation]:
        """Hand over what was observed, in the order in which it happened."""
        observations = self._observations[:]
        self._observations.clear()
        return observations

    def _catch_up(self, now: Instant) -> None:
        self.tick(Instant(now - 1))


class _Ear:
    """One node."""

    def __init__(self, node: Node, timers: Timers, observations: list[Observation]) -> None:
        self.node, self._say = node, observations.append
        codecs = [Codec(layout, node) for layout in node.layouts]
        by_role = {role: [c for c in codecs if c.layout.role is role] for role in Role}
        self._requests, self._answers = by_role[Role.REQUEST], by_role[Role.ANSWER]
        self._told = [codec for codec in codecs if codec.layout.role is not Role.REQUEST]
        self._driven = {operation: name for name, operation in node.operations.items()}
        self._open: dict[tuple[int, int], Instant] = {}
        self._reception = Reception(node, by_role[Role.READING], timers, self._say, None)

    def sent(self, payload: bytes, at: Instant) -> Driven | None:
        for codec in self._requests:
            request = codec.decode(payload)
            if request is None:
                continue
            operation = request.operation
            if request.request is not None and operation is not None:
                self._open[request.request, operation] = at
            name = None if operation is None else self._driven.get(operation)
            if operation is not None and operation == self.node.read and name is None:
                self._reception.asked(at)
            if name is None or operation is None or not request.readings:
                return None
            value = request.readings[0].value
            if value is None:
                return None
            signal = f"{self.node.name}.{name}"
            return Driven(signal=signal, value=value, number=request.request, operation=operation)
        return None

    def came(self, peer: Address | None, payload: bytes, at: Instant) -> Replied | None:
        if peer is not None:
            text = f"datagram from {peer}, {self.node.name} is at {self.node.address}"
            self._note(NodeTrouble.FOREIGN, at, text, payload)
            return None
        if self._reception.receive(payload, at):
            return None
        for codec in self._answers:
            answer = codec.decode(payload)
            if answer is None:
                continue
            if not self._reception.is_new(codec, answer.head(sequence=None), payload, at):
                return None
            asked = self._open.pop((answer.request or 0, answer.operation or 0), None)
            if answer.uptime is not None and asked is not None:
                self._say(exchanged(self.node.name, codec, asked, at, answer.uptime))
            detail = ""
            if answer.status:
                place = codec.place(Carries.STATUS)
                word = place.field.labels.get(answer.status, "") if place is not None else ""
                detail = f"{word} (status {answer.status})" if word else f"status {answer.status}"
            return Replied(
                number=answer.request,
                operation=answer.operation,
                accepted=not answer.status,
                detail=detail,
            )
        self._note(NodeTrouble.GARBLED, at, diagnose(self._told, payload), payload)
        return None

    def _note(self, trouble: NodeTrouble, at: Instant, text: str, raw: bytes) -> None:
        self._say(NodeNote(node=self.node.name, trouble=trouble, at=at, text=text, raw=raw))
