"""What is said between a tool and its nodes, heard by a third: from a recording, or off the wire.

    sent(node, payload, at)         a datagram left for a node      → what it drives, if anything
    came(node, peer, payload, at)   a datagram came from a node     → whose answer it is, if any
    stood(line, octets)             a line stood on a node's console

Readings become samples as they do in the links (hil.wire.reception), so that a recording shows what
the run saw.  CoAP is heard in hil.wire.coap.overheard, consoles in hil.wire.console.overheard.
"""

from hil.core.event import ConsoleLine
from hil.core.instant import Instant
from hil.core.observation import NodeNote, NodeTrouble, Observation
from hil.wire.coap.overheard import CoapEar
from hil.wire.console.overheard import ConsoleEar
from hil.wire.diagnosis import diagnose
from hil.wire.layout import Codec
from hil.wire.rack import Address, Carries, Node, Rack, Role
from hil.wire.reception import Reception, Say, exchanged
from hil.wire.said import Driven, Replied
from hil.wire.timers import Timers


class Overheard:
    """The machine over all nodes of a rack; instants count from `start`."""

    def __init__(self, rack: Rack, start: Instant = Instant(0)) -> None:  # noqa: B008 - a number
        self._timers = Timers()
        self._observations: list[Observation] = []
        timers, say = self._timers, self._observations.append
        self._ears: dict[str, _Ear | CoapEar] = {
            node.name: _Ear(node, timers, say) if node.coap is None else CoapEar(node, timers, say)
            for node in rack.nodes
            if node.address.port
        }
        self._lines = {
            node.name: ConsoleEar(node, timers, say, start)
            for node in rack.nodes
            if node.console is not None
        }

    def sent(self, node: str, payload: bytes, at: Instant) -> Driven | None:
        """Take in what left for a node."""
        self._catch_up(at)
        ear = self._ears.get(node)
        return None if ear is None else ear.sent(payload, at)

    def came(self, node: str, peer: Address | None, payload: bytes, at: Instant) -> Replied | None:
        """Take in what came for the tool's socket of a node; `peer` where that was another one."""
        self._catch_up(at)
        ear = self._ears.get(node) or self._teller(payload)
        return None if ear is None else ear.came(peer, payload, at)

    def stood(self, line: ConsoleLine, octets: bytes) -> None:
        """Take in a line of a console; `octets` where its text does not tell them."""
        self._catch_up(line.at)
        ear = self._lines.get(line.node)
        if ear is not None:
            ear.stood(line, octets)

    def unreachable(self, node: str, why: str, at: Instant) -> None:
        """Learn that nothing can come from a node's console any more."""
        ear = self._lines.get(node)
        if ear is not None:
            ear.unreachable(why, at)

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

    def _teller(self, payload: bytes) -> "_Ear | None":
        """Return whose reading this is, where it was written down under the name of a group."""
        for ear in self._ears.values():
            if isinstance(ear, _Ear) and ear.node.readings_to is not None and ear.claims(payload):
                return ear
        return None

    def _catch_up(self, now: Instant) -> None:
        self.tick(Instant(now - 1))


class _Ear:
    """One node that speaks datagrams of declared layouts."""

    def __init__(self, node: Node, timers: Timers, say: Say) -> None:
        self.node, self._say = node, say
        codecs = [Codec(layout, node) for layout in node.layouts]
        by_role = {role: [c for c in codecs if c.layout.role is role] for role in Role}
        self._requests, self._answers = by_role[Role.REQUEST], by_role[Role.ANSWER]
        self._told = [codec for codec in codecs if codec.layout.role is not Role.REQUEST]
        self._driven = {operation: name for name, operation in node.operations.items()}
        self._open: dict[tuple[int, int], Instant] = {}
        self._other_sources: set[Address] = set()
        self._reception = Reception(node, by_role[Role.READING], timers, say, None)

    def claims(self, payload: bytes) -> bool:
        """Say whether a datagram is a reading with this node's number."""
        return self._reception.claims(payload)

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
        if peer is not None and not self._counts(peer, payload, at):
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

    def _counts(self, peer: Address, payload: bytes, at: Instant) -> bool:
        """Note a datagram from another address; return whether it counts all the same."""
        text = f"datagram from {peer}, {self.node.name} is at {self.node.address}"
        if not (self.node.any_source and self._may_be_its_own(peer, payload, at)):
            self._note(NodeTrouble.FOREIGN, at, text, payload)
            return False
        if peer not in self._other_sources:
            self._other_sources.add(peer)
            told = f"{text}; it counts (any-source)"
            self._note(NodeTrouble.ANY_SOURCE, at, told, payload)
        return True

    def _may_be_its_own(self, peer: Address, payload: bytes, at: Instant) -> bool:
        """Say whether this answers what is open, or is a reading that nobody else may have sent."""
        for codec in self._answers:
            answer = codec.decode(payload)
            if answer is not None:
                return (answer.request or 0, answer.operation or 0) in self._open
        return self.claims(payload) and bool(self._reception.foreign(payload, peer, at))

    def _note(self, trouble: NodeTrouble, at: Instant, text: str, raw: bytes) -> None:
        self._say(NodeNote(node=self.node.name, trouble=trouble, at=at, text=text, raw=raw))
