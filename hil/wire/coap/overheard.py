"""A CoAP node heard by a third: whose answer a message is, and what it says.

    request  ── token ──▶ a resource that is read, or a signal that is driven
    response ── token ──▶ the same, and so what its payload is about

A response names no resource; the request that bears its token does.  Repetitions are passed over
(RFC 7252 §4.5), older notifications not used (RFC 7641 §3.4), blocks put together (RFC 7959 §2.4).
Nothing is answered or asked again: what the tool did about it was said as well.
"""

from hil.core.instant import SECOND, Duration, Instant, after
from hil.core.observation import NodeNote, NodeTrouble
from hil.wire.coap.ask import Ask
from hil.wire.coap.asked import Asked, Body, wanted, words
from hil.wire.coap.code import Code, code_name, is_request, is_success
from hil.wire.coap.description import Place
from hil.wire.coap.event import Answered
from hil.wire.coap.freshness import Ordering
from hil.wire.coap.life import Life
from hil.wire.coap.message import Malformed, Message, Type, decode
from hil.wire.coap.number import Unreadable
from hil.wire.coap.option import Option, Sifted, sift
from hil.wire.coap.parameters import DEFAULT_MAX_AGE, Parameters
from hil.wire.coap.payload import open_payload
from hil.wire.coap.reading import Reading
from hil.wire.coap.seen import Memory
from hil.wire.coap.subscription import DEREGISTER
from hil.wire.coap.transfer import Broken, Content, Transfer
from hil.wire.coap.value import read_part
from hil.wire.rack import Address, Node
from hil.wire.reception import Say
from hil.wire.said import Driven, Replied
from hil.wire.timers import Timers

MOST_ASKED = 256
MOST_BEGUN = 4
"""So many requests are remembered, and representations of which blocks lack."""


class CoapEar:
    """The machine of one node."""

    def __init__(self, node: Node, timers: Timers, say: Say) -> None:
        assert node.coap is not None
        self.node, self._coap, self._say = node, node.coap, say
        self._signals = {signal.name: signal for signal in node.signals}
        self._readings = {
            each.place: Reading(each, node, timers, say) for each in node.coap.resources
        }
        self._life = Life(node, node.coap, say)
        self._begun = False
        self._asked: dict[bytes, Asked] = {}
        self._bodies: list[Body] = []
        self._memory = Memory()
        self._parameters = Parameters(ack_timeout=node.coap.ack_timeout)

    # --- what left for the node ----------------------------------------------------------------

    def sent(self, payload: bytes, at: Instant) -> Driven | None:
        """Take in what left; return what it drives, if anything, the first time it left."""
        try:
            message = decode(payload)
        except Malformed:
            return None
        known = self._asked.get(message.token)
        repeated = known is not None and known.message_id == message.message_id
        if repeated or not is_request(message.code):
            return None
        sifted = sift(message.options, request=True)
        path, query = words(message, Option.URI_PATH), words(message, Option.URI_QUERY)
        place = Place(path=path, query=query)
        if message.code == Code.PUT:
            asked = self._request(message, at)
            asked.driven = self._driven(place, message)
        else:
            asked = self._read(place, message, sifted, known, at)
        self._asked.pop(message.token, None)
        if sifted.number(Option.OBSERVE) != DEREGISTER:
            self._asked[message.token] = asked
        if len(self._asked) > MOST_ASKED:
            self._forget_one()
        return asked.driven

    def _forget_one(self) -> None:
        """Forget the oldest request; one to be kept informed only where there are no others."""
        asked = self._asked
        del asked[next((each for each in asked if asked[each].ordering is None), next(iter(asked)))]

    def _read(
        self, place: Place, message: Message, sifted: Sifted, known: Asked | None, at: Instant
    ) -> Asked:
        asked = self._request(message, at)
        asked.reading = self._readings.get(place)
        block = sifted.number(Option.BLOCK2) or 0
        if block >> 4:
            asked.body = self._go_on(place, block >> 4)
        if sifted.number(Option.OBSERVE) == 0:
            before = None if known is None else known.ordering
            asked.renewal, asked.ordering = before is not None, before or Ordering()
            if known is not None and at > known.stale:  # nobody waits for that one
                asked.until = after(at, self._parameters.exchange_lifetime)
        return asked

    def _request(self, message: Message, at: Instant) -> Asked:
        return Asked(message.message_id, at, after(at, self.node.answer_within))

    def _go_on(self, place: Place, number: int) -> Body | None:
        """Return the body whose block of that number is asked for."""
        for body in reversed(self._bodies):
            if body.reading.resource.place == place and wanted(body.transfer) == number:
                self._bodies.remove(body)
                return body
        return None

    def _driven(self, place: Place, message: Message) -> Driven | None:
        for name, target in self._coap.targets.items():
            if target.place != place:
                continue
            try:
                content = open_payload(message.payload, target.format)
            except Unreadable:
                continue
            signal, encoding = self._signals[name], self.node.encodings[name]
            value = read_part(content, target.part, signal, encoding).value
            if value is not None:
                token = int.from_bytes(message.token, "big")
                return Driven(signal=signal.path, value=value, number=token, operation=Code.PUT)
        return None

    # --- what came from it ---------------------------------------------------------------------

    def came(self, peer: Address | None, payload: bytes, at: Instant) -> Replied | None:
        """Take in what came; return whose answer it is, where it answers what drives."""
        if peer is not None:
            text = f"datagram from {peer}, {self.node.name} is at {self.node.address}"
            self._note(NodeTrouble.FOREIGN, at, text, payload)
            return None
        try:
            message = decode(payload)
        except Malformed as refusal:
            self._note(NodeTrouble.GARBLED, at, str(refusal), payload)
            return None
        if message.code == Code.EMPTY:
            self._acknowledge(message)
            return None
        if is_request(message.code) or self._is_repeated(message, payload, at):
            return None
        asked = self._asked.get(message.token)
        if asked is None or (asked.open and at > asked.until):
            self._asked.pop(message.token, None)  # it was given up
            return None
        sifted = sift(message.options, request=False)
        answers = message.type is Type.ACKNOWLEDGEMENT
        if sifted.refused or (answers and asked.message_id != message.message_id):
            self._note(NodeTrouble.GARBLED, at, "answers nothing that was asked", payload)
            return None
        if answers or self._expects(asked, sifted):
            return self._answered(asked, message, sifted, payload, at)
        if asked.ordering is not None and asked.reading is not None:
            self._notified(asked, asked.reading, message, sifted, payload, at)
        return None

    def _acknowledge(self, message: Message) -> None:
        """Note an acknowledgement without an answer: that will come by itself."""
        if message.type is Type.ACKNOWLEDGEMENT:
            for asked in self._asked.values():
                asked.acknowledged |= asked.message_id == message.message_id

    def _is_repeated(self, message: Message, payload: bytes, at: Instant) -> bool:
        if message.type is Type.ACKNOWLEDGEMENT:
            return False
        seen = self._memory.recall(None, message.message_id, at)
        confirmable = message.type is Type.CONFIRMABLE
        parameters = self._parameters
        life = parameters.exchange_lifetime if confirmable else parameters.non_lifetime
        if seen is not None and seen.octets == payload:
            return True
        self._memory.keep(None, message.message_id, payload, None, at, life)
        return False

    @staticmethod
    def _expects(asked: Asked, sifted: Sifted) -> bool:
        """Say whether a message of its own is the response, rather than a notification."""
        if not asked.open:
            return False
        return not asked.renewal or asked.acknowledged or Option.OBSERVE not in sifted.known

    def _answered(
        self, asked: Asked, message: Message, sifted: Sifted, raw: bytes, at: Instant
    ) -> Replied | None:
        if not asked.open:
            return None
        asked.open = False
        if asked.driven is not None:
            word = (
                "" if is_success(message.code) else message.payload[:80].decode("utf-8", "replace")
            )
            return Replied(
                number=asked.driven.number,
                operation=asked.driven.operation,
                accepted=is_success(message.code),
                detail=f"{code_name(message.code)}{': ' if word else ''}{word}",
            )
        body = asked.body
        if body is None and asked.reading is not None:
            doubt = "" if asked.ordering is None else self._register(asked, message, sifted, at)
            body = self._body(asked.reading, asked.at, doubt)
        if body is not None:
            self._take(body, message, sifted, raw, at)
        return None

    def _register(self, asked: Asked, message: Message, sifted: Sifted, at: Instant) -> str:
        """Note whether the node keeps the tool informed; if not, return why that is a doubt."""
        number, ordering = sifted.number(Option.OBSERVE), asked.ordering
        if ordering is not None and number is not None and is_success(message.code):
            ordering.take(number, at, anew=True)
            self._count_age(asked, sifted, at)
            return ""
        asked.ordering = None
        resource = asked.reading.resource if asked.reading is not None else None
        if resource is None or resource.poll is not None:
            return ""
        return f"the node does not keep the tool informed of {resource.place}"

    def _notified(
        self,
        asked: Asked,
        reading: Reading,
        message: Message,
        sifted: Sifted,
        raw: bytes,
        at: Instant,
    ) -> None:
        number, ordering = sifted.number(Option.OBSERVE), asked.ordering
        if number is None or not is_success(message.code) or ordering is None:
            doubt = self._register(asked, message, sifted, at)
            self._take(self._body(reading, at, doubt), message, sifted, raw, at)
        elif not ordering.take(number, at):
            self._count_age(asked, sifted, at)
            self._take(self._body(reading, None), message, sifted, raw, at)

    @staticmethod
    def _count_age(asked: Asked, sifted: Sifted, at: Instant) -> None:
        age = sifted.number(Option.MAX_AGE)
        asked.stale = after(at, Duration((DEFAULT_MAX_AGE if age is None else age) * SECOND))

    # --- what it says --------------------------------------------------------------------------

    def _body(self, reading: Reading, asked: Instant | None, doubt: str = "") -> Body:
        place = reading.resource.place
        ask = Ask(path=place.path, query=place.query, until=Instant(0))
        return Body(reading, Transfer(ask, self._parameters), asked, doubt)

    def _take(self, body: Body, message: Message, sifted: Sifted, raw: bytes, at: Instant) -> None:
        try:
            content = body.transfer.take(message, sifted)
        except Broken:
            return
        if content is None:
            self._bodies = [*self._bodies[1 - MOST_BEGUN :], body]
        else:
            self._report(body, content, raw, at)

    def _report(self, body: Body, whole: Content, raw: bytes, at: Instant) -> None:
        event = Answered(
            handle=0,
            at=at,
            code=whole.code,
            options=whole.options,
            payload=whole.payload,
            sent_at=at,
            transmissions=1,
        )
        reading, life = body.reading, self._life
        content = reading.content(event, raw)
        if content is None:
            return
        if reading.resource.facts:
            told = life.take(reading.facts(content, at, raw), at, raw)
            if told.doubted:
                return
        self._begun = self._begun or not life.unknown
        if self._begun:
            since = at if body.asked is None else body.asked
            reading.report(content, since, at, raw, life.track.booted, body.doubt)

    def _note(self, trouble: NodeTrouble, at: Instant, text: str, raw: bytes) -> None:
        self._say(NodeNote(node=self.node.name, trouble=trouble, at=at, text=text, raw=raw))
