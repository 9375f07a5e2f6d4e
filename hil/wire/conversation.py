"""What the tool and one node say to each other.

The tool asks to be kept informed (`listen`, again after every `renew` and after a reboot), asks
for readings (`read`, every `poll`), and sends commands; the node answers and sends readings.
The conversation is a part of hil.wire.link.Links, which owns the timers and the two queues.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

from hil.core.instant import Duration, Instant, show_duration
from hil.core.observation import (
    Command,
    CommandAnswered,
    CommandLost,
    CommandSent,
    NodeNote,
    NodeTrouble,
)
from hil.core.signal import Kind, Signal, Value, show_value
from hil.wire.diagnosis import diagnose
from hil.wire.encoding import WireError
from hil.wire.layout import Codec, Decoded
from hil.wire.pending import Numbers, Open, Pending
from hil.wire.rack import Carries, Node, Role
from hil.wire.reception import Reception, Say
from hil.wire.timers import Timers

if TYPE_CHECKING:
    from hil.wire.link import Packet

Send = Callable[[str, bytes, int | None], None]


class Conversation:
    """The tool's side of what is said with one node; see hil.wire.link for its place."""

    def __init__(
        self, node: Node, numbers: Numbers, timers: Timers, say: Say, send: Send, start: Instant
    ) -> None:
        self.node = node
        self._numbers, self._timers, self._say, self._send = numbers, timers, say, send
        self._pending = Pending()
        self._unsent: dict[bytes, Open] = {}
        self._silent = False
        codecs = [Codec(layout, node) for layout in node.layouts]
        self._codecs = [codec for codec in codecs if codec.layout.role is not Role.REQUEST]
        self._requests = [codec for codec in codecs if codec.layout.role is Role.REQUEST]
        self._answers = [codec for codec in codecs if codec.layout.role is Role.ANSWER]
        readings = [codec for codec in codecs if codec.layout.role is Role.READING]
        self._reception = Reception(node, readings, timers, say)
        self.track = self._reception.track
        self._signals: dict[str, Signal] = {signal.path: signal for signal in node.signals}
        for key, period in (("listen", self._listening), ("read", node.poll)):
            if period is not None:
                timers.set((node.name, key, 0), start)

    @property
    def _listening(self) -> Duration | None:
        return None if self.node.listen is None else self.node.renew

    # What the tool says

    def command(self, command: Command, now: Instant) -> None:
        """Send a command; one that cannot be sent is lost at once."""
        name = command.signal.removeprefix(f"{self.node.name}.")
        operation = self.node.operations.get(name)
        signal = self._signals.get(command.signal)
        if operation is None or signal is None:
            self._lose(command, now, f"{command.signal} cannot be driven")
            return
        problem = self._request(operation, signal.kind, command.value, command, now)
        if problem:
            self._lose(command, now, problem)

    def _request(
        self, operation: int, kind: Kind, value: Value | int, command: Command | None, now: Instant
    ) -> str:
        """Encode a request and queue it; return why it cannot be sent, or an empty text."""
        fitting = [codec for codec in self._requests if codec.suits(kind)]
        if not fitting and command is None:
            fitting = self._requests  # a request without any value field will do
        if not fitting:
            return f"no request layout of {self.node.name} can carry a {kind.value}"
        codec = fitting[0]
        number = self._numbers.fresh(codec.request_span or 1 << 32, self._pending.open)
        if number is None:
            return "every request number is still waiting for its answer"
        on_wire = number if codec.request_span else 0
        try:
            payload = codec.encode(request=on_wire, operation=operation, value=value)
        except WireError as error:
            return str(error)
        request = Open(number=number, operation=operation, command=command, payload=payload)
        self._pending.add(request)
        self._unsent[payload] = request
        self._await(request, now)
        self._send(self.node.name, payload, None if command is None else command.token)
        return ""

    def _await(self, request: Open, since: Instant) -> None:
        key = (self.node.name, "answer", request.number)
        self._timers.set(key, since + self.node.answer_within + 1)

    def sent(self, packet: "Packet", at: Instant) -> None:
        """Learn when a packet left; its answer time counts from here."""
        if packet.token is not None:
            self._say(CommandSent(token=packet.token, at=at, raw=packet.payload))
        request = self._unsent.pop(packet.payload, None)
        if request is None:
            return
        if request.number in self._pending.open:
            self._await(request, at)
        if request.operation == self.node.read and request.command is None:
            self._reception.asked(at)

    def refused(self, at: Instant, text: str) -> None:
        """Learn that the node's computer refused a datagram: nobody listens at its port."""
        open_requests = list(self._pending.open.values())
        if not self._silent or any(request.command for request in open_requests):
            self._note(NodeTrouble.UNREACHABLE, at, text)
        self._silent = True
        for request in open_requests:
            self._give_up(request.number, at, text)

    def fire(self, key: str, detail: int, due: Instant, now: Instant) -> None:
        """Do what a timer of this conversation was set for."""
        node = self.node
        if key == "answer":
            within = show_duration(node.answer_within)
            self._give_up(detail, due, f"no answer within {within}")
        elif key == "stale":
            self._reception.grow_stale(detail, due)
        elif key == "listen" and self._listening is not None and node.listen is not None:
            self._timers.set((node.name, key, 0), _following(due, self._listening, now))
            self._request(node.listen, Kind.NUMBER, 0, None, now)
        elif key == "read" and node.poll is not None and node.read is not None:
            self._timers.set((node.name, key, 0), _following(due, node.poll, now))
            self._request(node.read, Kind.NUMBER, 0, None, now)

    def _give_up(self, number: int, at: Instant, why: str) -> None:
        request = self._pending.close(number, False, at)
        self._timers.clear((self.node.name, "answer", number))
        if request is None:
            return
        self._unsent.pop(request.payload, None)
        if request.command is not None:
            self._lose(request.command, at, why)

    def _lose(self, command: Command, at: Instant, why: str) -> None:
        self._say(CommandLost(token=command.token, at=at, detail=why))

    # What the node says

    def receive(self, packet: "Packet", now: Instant) -> None:
        """Take in one datagram; no octets whatever raise anything."""
        payload = packet.payload
        if packet.peer != self.node.address:
            self._foreign(packet, now)
            return
        self._silent = False
        if self._reception.receive(payload, now):
            return
        for codec in self._answers:
            decoded = codec.decode(payload)
            if decoded is not None:
                self._answer(codec, decoded, payload, now)
                return
        self._note(NodeTrouble.GARBLED, now, diagnose(self._codecs, payload), payload)

    def _foreign(self, packet: "Packet", now: Instant) -> None:
        text = f"datagram from {packet.peer}, {self.node.name} is at {self.node.address}"
        for codec in self._answers:
            decoded = codec.decode(packet.payload)
            if decoded is not None and self._pending.match(decoded) is not None:
                text = f"answered from {packet.peer}, asked at {self.node.address}"
        self._note(NodeTrouble.FOREIGN, now, text, packet.payload)

    def _answer(self, codec: Codec, decoded: Decoded, payload: bytes, now: Instant) -> None:
        counters = decoded._replace(sequence=None)  # that one counts readings
        if not self._reception.is_new(codec, counters, payload, now):
            return
        request = self._pending.match(decoded)
        if request is None:
            trouble, text = self._pending.explain(decoded)
            self._note(trouble, now, text, payload)
            return
        self._pending.close(request.number, True, now)
        self._timers.clear((self.node.name, "answer", request.number))
        accepted = decoded.status in (None, 0)
        detail = self._detail(codec, decoded, request)
        if request.command is not None:
            token = request.command.token
            self._say(
                CommandAnswered(token=token, at=now, accepted=accepted, detail=detail, raw=payload)
            )
        elif not accepted:
            text = f"operation {request.operation} refused: {detail}"
            self._note(NodeTrouble.REFUSED, now, text, payload)

    def _detail(self, codec: Codec, decoded: Decoded, request: Open) -> str:
        """Say what an answer says: why not, or the value where it is not the one asked for."""
        if decoded.status:
            place = codec.place(Carries.STATUS)
            word = place.field.labels.get(decoded.status, "") if place is not None else ""
            return f"{word} (status {decoded.status})" if word else f"status {decoded.status}"
        for reading in decoded.readings:
            command = request.command
            signal = self._signals.get(reading.signal)
            shown = show_value(reading.value, signal)
            if command is not None and reading.value != command.value:
                return f"answered {shown}, asked for {show_value(command.value, signal)}"
            return f"answered {shown}"
        return ""

    def _note(self, trouble: NodeTrouble, at: Instant, text: str, raw: bytes = b"") -> None:
        self._say(NodeNote(node=self.node.name, trouble=trouble, at=at, text=text, raw=raw))


def _following(due: Instant, period: Duration, now: Instant) -> Instant:
    """Return the next instant after `now` in the rhythm of `period`."""
    return Instant(due + period * ((now - due) // period + 1))
