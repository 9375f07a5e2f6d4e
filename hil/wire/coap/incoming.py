"""What the node sends to the tool: whose answer is it, was it there before, what is it answered with?

                empty             response                          request
CON             Reset (a ping)    acknowledged, or Reset if odd     Reset
NON             malformed         a Reset if it is an odd           nothing
                                  notification (RFC 7641 §3.6)
ACK             stops repeating   must fit in id and token          malformed
RST             gives up          malformed                         malformed
"""

from collections.abc import Callable, Mapping

from hil.core.instant import Duration, Instant, show_duration
from hil.wire.coap.code import Code, code_name, is_request
from hil.wire.coap.event import CoapEvent, Odd, Oddity
from hil.wire.coap.exchange import Exchange, Exchanges
from hil.wire.coap.message import Malformed, Message, Type, decode, empty
from hil.wire.coap.option import Option, Sifted, option_name, sift
from hil.wire.coap.parameters import Parameters
from hil.wire.coap.seen import Memory, Seen
from hil.wire.coap.subscription import Subscription


class Incoming:
    """The part of an endpoint that receives; `put` takes what is sent at once, `say` the events."""

    def __init__(
        self,
        exchanges: Exchanges,
        subscriptions: Mapping[bytes, Subscription],
        parameters: Parameters,
        put: Callable[[bytes], None],
        say: Callable[[CoapEvent], None],
    ) -> None:
        self._exchanges, self._subscriptions = exchanges, subscriptions
        self._put, self._say = put, say
        self._lifetimes = (parameters.exchange_lifetime, parameters.non_lifetime)
        self._memory = Memory()

    def receive(self, payload: bytes, now: Instant) -> None:
        """Take in one datagram of the peer; no octets whatever raise anything."""
        try:
            message = decode(payload)
        except Malformed as refusal:
            self._odd(Oddity.MALFORMED, str(refusal), payload, now)
            if refusal.head is not None and refusal.head.type is Type.CONFIRMABLE:
                self._put(empty(Type.RESET, refusal.head.message_id))
            return
        if message.type is Type.ACKNOWLEDGEMENT:
            self._acknowledged(message, payload, now)
        elif message.type is Type.RESET:
            self._reset(message, payload, now)
        else:
            self._message(message, payload, now)

    def _acknowledged(self, message: Message, raw: bytes, now: Instant) -> None:
        """Take in an acknowledgement, empty or with the response (RFC 7252 §5.2.1)."""
        transmission = self._exchanges.transmitter.find(message.message_id)
        if transmission is None or not transmission.confirmable:
            self._unmatched(message, raw, now)
            return
        exchange = transmission.owner
        if message.code == Code.EMPTY:
            self._exchanges.transmitter.acknowledge(transmission, now)
        elif not isinstance(exchange, Exchange) or exchange.token != message.token:
            asked = exchange.token.hex() if isinstance(exchange, Exchange) else ""
            text = f"token {message.token.hex() or 'empty'} answers 0x{message.message_id:04x}"
            self._odd(Oddity.STRAY, f"{text}, whose token is {asked or 'empty'}", raw, now)
        else:
            sifted = sift(message.options, request=False)
            self._deliver(exchange, message, sifted, raw, now)

    def _reset(self, message: Message, raw: bytes, now: Instant) -> None:
        transmission = self._exchanges.transmitter.find(message.message_id)
        if transmission is None:
            self._unmatched(message, raw, now)
        else:
            transmission.owner.was_reset(now)

    def _message(self, message: Message, raw: bytes, now: Instant) -> None:
        """Take in a message that is confirmable or non-confirmable."""
        confirmable = message.type is Type.CONFIRMABLE
        if message.code == Code.EMPTY:
            self._put(empty(Type.RESET, message.message_id))  # a ping
            return
        seen = self._memory.recall(None, message.message_id, now)
        if seen is not None and self._is_repetition(seen, message, raw, now):
            return
        sifted = sift(message.options, request=False)
        target = self._target(message, sifted)
        reply: bytes | None = None
        if target is not None and not sifted.refused:
            if confirmable:
                reply = empty(Type.ACKNOWLEDGEMENT, message.message_id)
        elif confirmable or Option.OBSERVE in sifted.known:
            reply = empty(Type.RESET, message.message_id)
        if reply is not None:
            self._put(reply)
        lifetime = self._lifetimes[not confirmable]
        self._memory.keep(None, message.message_id, raw, reply, now, lifetime)
        if target is None:
            self._unmatched(message, raw, now)
        else:
            self._deliver(target, message, sifted, raw, now)

    def _is_repetition(self, seen: Seen, message: Message, raw: bytes, now: Instant) -> bool:
        """Answer a repetition as the first time (RFC 7252 §4.5); say what only looks like one."""
        ago = show_duration(Duration(now - seen.at))
        shown = f"message id 0x{message.message_id:04x}"
        if seen.octets != raw:
            text = f"{shown} was used for another message {ago} ago; taken as a new one"
            self._odd(Oddity.REUSED, text, raw, now)
            return False
        self._odd(Oddity.DUPLICATE, f"{shown} was received before, {ago} ago", raw, now)
        if seen.reply is not None:
            self._put(seen.reply)
        return True

    def _target(self, message: Message, sifted: Sifted) -> Exchange | Subscription | None:
        """Return what a response of its own belongs to."""
        if is_request(message.code):
            return None
        exchange = self._exchanges.find(message.token)
        if exchange is not None and exchange.expects(sifted):
            return exchange
        return self._subscriptions.get(message.token)

    def _deliver(
        self,
        target: Exchange | Subscription,
        message: Message,
        sifted: Sifted,
        raw: bytes,
        now: Instant,
    ) -> None:
        if sifted.refused:
            names = ", ".join(option_name(number) for number in sifted.refused)
            why = f"{code_name(message.code)} carries what is critical and not understood: {names}"
            self._odd(Oddity.REFUSED, why, raw, now)
            if isinstance(target, Exchange):
                target.gave_up(why, now)
            else:
                target.refuse(why, now)
        elif isinstance(target, Exchange):
            target.answered(message, sifted, now)
        else:
            target.notified(message, sifted, raw, now)

    def _unmatched(self, message: Message, raw: bytes, now: Instant) -> None:
        """Say what a message is that belongs to nothing under way."""
        if is_request(message.code):
            self._odd(Oddity.STRAY, f"{code_name(message.code)}, nothing is served here", raw, now)
            return
        if message.type in (Type.ACKNOWLEDGEMENT, Type.RESET):
            shown = f"message id 0x{message.message_id:04x}"
            closed = self._exchanges.closed(lambda _, number: number == message.message_id)
        else:
            shown = f"token {message.token.hex() or 'empty'}"
            closed = self._exchanges.closed(lambda token, _: token == message.token)
        name = message.type.name.lower().replace("_", "-")
        text = f"{name} {code_name(message.code)} for {shown}"
        if closed is None:
            self._odd(Oddity.STRAY, f"{text}, which nothing asked has", raw, now)
            return
        answered, at = closed
        ago = show_duration(Duration(now - at))
        if answered:
            self._odd(Oddity.DUPLICATE, f"{text}, which was answered {ago} ago", raw, now)
        else:
            self._odd(Oddity.STRAY, f"{text}, which was given up {ago} ago", raw, now)

    def _odd(self, what: Oddity, text: str, raw: bytes, at: Instant) -> None:
        self._say(Odd(at=at, text=text, raw=raw, what=what))
