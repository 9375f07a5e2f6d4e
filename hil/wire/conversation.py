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
from hil.wire.confirming import Confirming
from hil.wire.decoded import Decoded
from hil.wire.diagnosis import diagnose
from hil.wire.encoding import WireError
from hil.wire.layout import Codec
from hil.wire.pending import Numbers, Open, Pending
from hil.wire.rack import Address, Carries, Node, Role
from hil.wire.reception import Reception, Say, exchanged
from hil.wire.timers import Timer, Timers

if TYPE_CHECKING:
    from hil.wire.link import Packet

Send = Callable[[str, bytes, int | None], None]


class Conversation:
    """The tool's side of what is said with one node; see hil.wire.link for its place."""

    def __init__(
        self, node: Node, numbers: Numbers, timers: Timers, say: Say, send: Send, start: Instant
    ) -> None:
        self.node = node
        self._numbers, self._say, self._send = numbers, say, send
        self._address = node.address
        self._pending = Pending()
        self._unsent: dict[bytes, Open] = {}
        self._silent = False
        self._other_sources: set[Address] = set()
        self._listening = Timer(timers, self._listen)
        self._polling = Timer(timers, self._poll)
        self._waiting = Timer(timers, self._give_up_late)
        codecs = [Codec(layout, node) for layout in node.layouts]
        self._codecs = [codec for codec in codecs if codec.layout.role is not Role.REQUEST]
        self._requests = [codec for codec in codecs if codec.layout.role is Role.REQUEST]
        self._carrying = {
            kind: codec for codec in self._requests[::-1] for kind in Kind if codec.suits(kind)
        }
        self._answers = [codec for codec in codecs if codec.layout.role is Role.ANSWER]
        readings = [codec for codec in codecs if codec.layout.role is Role.READING]
        listened = node.listen is not None and node.renew is not None
        listening = self._listening if listened else None
        self._reception = Reception(node, readings, timers, say, listening)
        ask = None if node.read is None else self._read
        self._confirming = Confirming(node, readings, timers, self._say, ask, self._attend)
        self.track = self._reception.track
        self._signals: dict[str, Signal] = {signal.path: signal for signal in node.signals}
        if listened:
            self._listening.set(start)
        if node.poll is not None:
            self._polling.set(start)

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
        codec = self._carrying.get(kind)
        if codec is None and command is None and self._requests:
            codec = self._requests[0]  # a request without any value field will do
        if codec is None:
            return f"no request layout of {self.node.name} can carry a {kind.value}"
        number = self._numbers.fresh(codec.request_span or 1 << 32, self._pending.open)
        if number is None:
            return "every request number is still waiting for its answer"
        on_wire = number if codec.request_span else 0
        try:
            payload = codec.encode(request=on_wire, operation=operation, value=value)
        except WireError as error:
            return str(error)
        until = Instant(now + self.node.answer_within + 1)
        request = Open(number, operation, command, payload, until)
        self._pending.add(request)
        self._unsent[payload] = request
        self._await_answers()
        self._send(self.node.name, payload, None if command is None else command.token)
        return ""

    def _await_answers(self) -> None:
        """Be woken when the first of the open requests has waited for too long.

        One that has not left waits for this computer, not for the node.
        """
        waiting = [
            request.until for request in self._pending.open.values() if request.sent is not None
        ]
        if waiting:
            self._waiting.set(min(waiting))
        else:
            self._waiting.clear()

    def inquire(self, now: Instant) -> None:
        """Make sure who the node is; ends in Confirmed, in Unconfirmed, or in a conflict."""
        self._confirming.begin(now)

    def claims(self, payload: bytes) -> bool:
        """Say whether a datagram bears the number of this node, wherever it came from."""
        return self._reception.claims(payload)

    def sent(self, packet: "Packet", at: Instant) -> None:
        """Learn when a packet left; its answer time counts from here."""
        if packet.token is not None:
            self._say(CommandSent(token=packet.token, at=at, raw=packet.payload))
        request = self._unsent.pop(packet.payload, None)
        if request is None:
            return
        request.sent = at
        if request.number in self._pending.open:
            request.until = Instant(at + self.node.answer_within + 1)
            self._await_answers()
        if request.operation == self.node.read and request.command is None:
            self._reception.asked(at)

    def refused(self, at: Instant, text: str) -> None:
        """Learn that the node's computer refused a datagram: nobody listens at its port."""
        open_requests = list(self._pending.open.values())
        if not self._silent or any(request.command for request in open_requests):
            self._note(NodeTrouble.UNREACHABLE, at, text)
        self._silent = True
        for request in open_requests:
            self._give_up(request, at, text)
        self._await_answers()

    def _listen(self, due: Instant, now: Instant) -> None:
        """Ask to be kept informed, and again in time."""
        node = self.node
        if node.listen is not None and node.renew is not None:
            self._listening.set(_following(due, node.renew, now))
            self._request(node.listen, Kind.NUMBER, 0, None, now)

    def _poll(self, due: Instant, now: Instant) -> None:
        """Ask for a reading, and again in time."""
        node = self.node
        if node.poll is not None:
            self._polling.set(_following(due, node.poll, now))
            self._read(now)

    def _read(self, now: Instant) -> str:
        """Ask for a reading; return why it cannot be asked for, or an empty text."""
        if self.node.read is None:
            return "it cannot be asked"
        return self._request(self.node.read, Kind.NUMBER, 0, None, now)

    def _attend(self, wanted: bool) -> None:
        self._reception.hear = self._confirming.hear if wanted else None

    def _give_up_late(self, due: Instant, now: Instant) -> None:
        """Give up the requests that were to be answered by now."""
        why = f"no answer within {show_duration(self.node.answer_within)}"
        for request in list(self._pending.open.values()):
            if request.sent is not None and request.until <= due:
                self._give_up(request, due, why)
        self._await_answers()

    def _give_up(self, request: Open, at: Instant, why: str) -> None:
        self._pending.close(request.number, False)
        self._unsent.pop(request.payload, None)
        if request.command is not None:
            self._lose(request.command, at, why)
        elif request.operation == self.node.read:
            self._reception.unanswered(Instant(request.until - self.node.answer_within - 1))

    def _lose(self, command: Command, at: Instant, why: str) -> None:
        self._say(CommandLost(token=command.token, at=at, detail=why))

    # What the node says

    def receive(self, packet: "Packet", now: Instant) -> None:
        """Take in one datagram; no octets whatever raise anything."""
        payload = packet.payload
        if packet.peer != self._address and not self._counts(packet, now):
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

    def _counts(self, packet: "Packet", now: Instant) -> bool:
        """Note a datagram from another address; return whether it counts all the same."""
        text, own = self._foreign(packet, now)
        counts = own and self.node.any_source
        if not counts and text:
            self._note(NodeTrouble.FOREIGN, now, text, packet.payload)
        elif counts and packet.peer not in self._other_sources:
            self._other_sources.add(packet.peer)
            told = f"{text}; it counts (any-source)"
            self._note(NodeTrouble.ANY_SOURCE, now, told, packet.payload)
        return counts

    def _foreign(self, packet: "Packet", now: Instant) -> tuple[str, bool]:
        """Say what came from another address, and whether this node may have said it.

        The text is empty for what was noted already: two nodes with one number.
        """
        for codec in self._answers:
            decoded = codec.decode(packet.payload)
            if decoded is not None and self._pending.match(decoded) is not None:
                return f"answered from {packet.peer}, asked at {self.node.address}", True
        what = self._reception.foreign(packet.payload, packet.peer, now)
        own = bool(what) and self._reception.claims(packet.payload)
        return what and f"{what}, {self.node.name} is at {self.node.address}", own

    def _answer(self, codec: Codec, decoded: Decoded, payload: bytes, now: Instant) -> None:
        head = decoded.head(sequence=None)  # that one counts readings
        if not self._reception.is_new(codec, head, payload, now):
            return
        request = self._pending.match(decoded)
        if request is None:
            trouble, text = self._pending.explain(decoded, now)
            self._note(trouble, now, text, payload)
            return
        self._pending.close(request.number, True)
        self._await_answers()
        if decoded.uptime is not None and request.sent is not None:
            self._say(exchanged(self.node.name, codec, request.sent, now, decoded.uptime))
        accepted = decoded.status in (None, 0)
        if accepted and request.command is None:
            if request.operation == self.node.read:
                self._confirming.answered()
            return
        detail = self._detail(codec, decoded, request)
        if request.command is not None:
            token = request.command.token
            self._say(
                CommandAnswered(token=token, at=now, accepted=accepted, detail=detail, raw=payload)
            )
        else:
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
