"""What the tool and one CoAP node say to each other (RFC 7252, 7641).

A command is a PUT.  It counts as sent when its first datagram leaves; however often it had to be
repeated, its time counts from there, and the answer says how often that was.

The shape is that of hil.wire.conversation, and so is the place, in hil.wire.link.Links.
"""

from functools import partial
from typing import TYPE_CHECKING

from hil.core.instant import Instant
from hil.core.observation import (
    Command,
    CommandAnswered,
    CommandLost,
    CommandSent,
    NodeNote,
    NodeTrouble,
)
from hil.wire.coap.ask import Ask
from hil.wire.coap.code import Code, code_name, is_success
from hil.wire.coap.desk import Desk, Send
from hil.wire.coap.event import Answered, Failed, Lapsed, Notified, Odd, Oddity
from hil.wire.coap.survey import Survey
from hil.wire.coap.writing import write_value
from hil.wire.encoding import WireError
from hil.wire.rack import Node
from hil.wire.reception import Say
from hil.wire.timers import Timers

if TYPE_CHECKING:
    from hil.wire.link import Packet

_TROUBLES = {
    Oddity.MALFORMED: NodeTrouble.GARBLED,
    Oddity.STRAY: NodeTrouble.STRAY,
    Oddity.DUPLICATE: NodeTrouble.DUPLICATE,
    Oddity.STALE: NodeTrouble.STRAY,
    Oddity.REFUSED: NodeTrouble.GARBLED,
    Oddity.REUSED: NodeTrouble.STRAY,
    Oddity.INCOMPLETE: NodeTrouble.GARBLED,
}


class CoapConversation:
    """The tool's side of what is said with one CoAP node."""

    def __init__(
        self, node: Node, first: int, timers: Timers, say: Say, send: Send, start: Instant
    ) -> None:
        assert node.coap is not None
        self.node = node
        self._coap = node.coap
        self._say = say
        self._signals = {signal.name: signal for signal in node.signals}
        self._open: dict[int, tuple[Command, int | None]] = {}
        self._sent: set[int] = set()
        self._silent = False
        self._desk = Desk(node, first, timers, send, self._odd, start)
        self._survey = Survey(node, node.coap, self._desk, timers, say, start)
        self.track = self._survey.track

    def command(self, command: Command, now: Instant) -> None:
        """Send a command; one that cannot be sent is lost at once."""
        name = command.signal.removeprefix(f"{self.node.name}.")
        target, signal = self._coap.targets.get(name), self._signals.get(name)
        if target is None or signal is None:
            self._lose(command, now, f"{command.signal} cannot be driven")
            return
        try:
            payload = write_value(command.value, target, signal, self.node.encodings[name])
        except WireError as error:
            self._lose(command, now, str(error))
            return
        ask = Ask(
            method=Code.PUT,
            path=target.place.path,
            query=target.place.query,
            content_format=target.format.number,
            payload=payload,
            confirmable=self._coap.confirmable,
            until=Instant(now + self.node.answer_within),
        )
        self._open[command.token] = command, None
        handle = self._desk.ask(ask, partial(self._ended, command), now, command.token)
        if command.token in self._open:
            self._open[command.token] = command, handle

    def inquire(self, now: Instant) -> None:
        """Make sure who the node is; ends in Confirmed, in Unconfirmed, or in a conflict."""
        self._survey.inquire(now)

    def claims(self, payload: bytes) -> bool:
        """Say whether a datagram answers what this node was asked, wherever it came from."""
        return self._desk.answers_us(payload)

    def sent(self, packet: "Packet", at: Instant) -> None:
        """Learn when a packet left."""
        self._desk.sent(packet.payload, at)
        if packet.token is not None:
            self._tell_sent(packet.token, at, packet.payload)

    def receive(self, packet: "Packet", now: Instant) -> None:
        """Take in one datagram; no octets whatever raise anything."""
        if packet.peer != self.node.address:
            ours = self._desk.answers_us(packet.payload)
            text = f"datagram from {packet.peer}, {self.node.name} is at {self.node.address}"
            if ours:
                text = f"answered from {packet.peer}, asked at {self.node.address}"
            self._note(NodeTrouble.FOREIGN, now, text, packet.payload)
            return
        self._silent = False
        self._survey.raw = packet.payload
        self._desk.receive(packet.payload, now)
        self._survey.raw = b""

    def refused(self, at: Instant, text: str) -> None:
        """Learn that the node's computer refused a datagram: nobody listens at its port."""
        if not self._silent or self._open:
            self._note(NodeTrouble.UNREACHABLE, at, text)
        self._silent = True
        for command, handle in list(self._open.values()):
            if handle is not None:
                self._desk.cancel(handle, at)
            self._lose(command, at, text)
        self._survey.break_off(at)

    def _ended(
        self, command: Command, event: Answered | Notified | Failed | Lapsed, now: Instant
    ) -> None:
        """Say what became of a command."""
        if isinstance(event, Failed):
            self._lose(command, event.at, event.why)
            self._survey.wonder(event.at)
        elif isinstance(event, Answered):
            self._tell_sent(command.token, event.sent_at)
            if event.transmissions > event.exchanges:
                self._survey.wonder(event.at)
            self._open.pop(command.token, None)
            self._sent.discard(command.token)
            accepted = is_success(event.code)
            word = "" if accepted else event.payload[:80].decode("utf-8", "replace")
            detail = f"{code_name(event.code)}{': ' if word else ''}{word}"
            self._say(
                CommandAnswered(
                    token=command.token,
                    at=event.at,
                    accepted=accepted,
                    detail=detail + _after(event.transmissions, event.exchanges),
                    raw=self._survey.raw,
                )
            )

    def _tell_sent(self, token: int, at: Instant, raw: bytes = b"") -> None:
        """Say once that a command has left."""
        if token in self._open and token not in self._sent:
            self._sent.add(token)
            self._say(CommandSent(token=token, at=at, raw=raw))

    def _lose(self, command: Command, at: Instant, why: str) -> None:
        self._open.pop(command.token, None)
        self._sent.discard(command.token)
        self._say(CommandLost(token=command.token, at=at, detail=why))

    def _odd(self, event: Odd) -> None:
        self._note(_TROUBLES[event.what], event.at, event.text, event.raw)

    def _note(self, trouble: NodeTrouble, at: Instant, text: str, raw: bytes = b"") -> None:
        self._say(NodeNote(node=self.node.name, trouble=trouble, at=at, text=text, raw=raw))


def _after(transmissions: int, needed: int) -> str:
    """Say how often a request had to be sent, where once was not enough."""
    return f" after {transmissions} transmissions" if transmissions > needed else ""
