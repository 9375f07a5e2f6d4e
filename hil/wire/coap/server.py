"""The node's side of CoAP: a machine (RFC 7252, RFC 7641, RFC 7959).

    datagram ──> repetition? ──> judged ──> Serving ──(delay)──> resource ──> response
    changed(path) ──> observers of that path ──> notifications

It keeps apart what belongs to which client; a client is an address.
"""

from collections.abc import Iterable

from hil.core.chance import Chance
from hil.core.instant import MILLISECOND, ZERO, Duration, Instant, after
from hil.wire.coap.block import Block
from hil.wire.coap.code import Code, is_request, is_success
from hil.wire.coap.judging import judge, precondition
from hil.wire.coap.message import Malformed, Message, Type, decode, empty, encode
from hil.wire.coap.observers import Observer, Observers
from hil.wire.coap.option import Option, sift
from hil.wire.coap.parameters import Parameters
from hil.wire.coap.resource import Reply, Request, Resource, directory
from hil.wire.coap.seen import Memory
from hil.wire.coap.serving import Serving, content_of
from hil.wire.coap.uploads import Uploads, too_large
from hil.wire.coap.visitor import Content, Separate, Visitors
from hil.wire.rack import Address
from hil.wire.timers import Timer, Timers

__all__ = ["Parameters", "Reply", "Request", "Resource", "Server"]

_DEFAULT = Parameters()
_ACK_WITHIN = Duration(200 * MILLISECOND)


class Server:
    """The resources of one node, and everybody who asks for them.

    An answer that takes longer than `ack_within` comes in a message of its own.  Of the
    notifications to an observer every `confirm_every`-th asks for an acknowledgement.
    """

    def __init__(
        self,
        resources: Iterable[Resource],
        start: Instant,
        *,
        first_message_id: int,
        parameters: Parameters = _DEFAULT,
        ack_within: Duration = _ACK_WITHIN,
        confirm_every: int = 10,
    ) -> None:
        listed = tuple(resources)
        self._resources = {resource.path: resource for resource in (directory(listed), *listed)}
        self._parameters, self._ack_within = parameters, ack_within
        self._timers = Timers()
        self._chance = Chance(parameters.seed)
        self._memory = Memory()
        self._uploads = Uploads(parameters.exchange_lifetime, parameters.largest_body)
        self._sends: list[tuple[Address, bytes]] = []
        self._visitors = Visitors(self._timers, first_message_id, parameters, self._put)
        self._observers = Observers(self._visitors, parameters.block_exponent, confirm_every)

    # What clients send

    def receive(
        self, source: Address, payload: bytes, now: Instant, multicast: bool = False
    ) -> None:
        """Take in one datagram; no octets whatever raise anything.

        `multicast` tells that it was sent to a group: then nobody hears of errors, and answers
        come after a while of their own (RFC 7252 §8.2).
        """
        try:
            message = decode(payload)
        except Malformed as refusal:
            head = refusal.head
            if head is not None and head.type is Type.CONFIRMABLE and not multicast:
                self._put(source, empty(Type.RESET, head.message_id))
            return
        if message.type in (Type.ACKNOWLEDGEMENT, Type.RESET):
            self._concluded(source, message, now)
        elif message.type is Type.CONFIRMABLE and multicast:
            return  # RFC 7252 §8.1 allows only non-confirmable ones
        elif is_request(message.code):
            self._requested(source, message, payload, now, multicast)
        elif message.type is Type.CONFIRMABLE:
            self._put(source, empty(Type.RESET, message.message_id))

    def _concluded(self, source: Address, message: Message, now: Instant) -> None:
        """Take in an acknowledgement or a Reset of something that was sent."""
        visitor = self._visitors.find(source)
        reset = message.type is Type.RESET
        transmission = visitor.transmitter.find(message.message_id) if visitor else None
        if visitor is None or transmission is None:
            if reset:
                self._observers.not_interested(source, message.message_id, now)
            return
        owner = transmission.owner
        visitor.transmitter.close(transmission, now)
        if reset:
            owner.was_reset(now)
        elif isinstance(owner, Observer):
            owner.acknowledged(now)

    def _requested(
        self, source: Address, message: Message, raw: bytes, now: Instant, multicast: bool
    ) -> None:
        seen = self._memory.recall(source, message.message_id, now)
        if seen is not None and seen.octets == raw:
            if seen.reply is not None:
                self._put(source, seen.reply)
            return
        confirmable = message.type is Type.CONFIRMABLE
        parameters = self._parameters
        lifetime = parameters.exchange_lifetime if confirmable else parameters.non_lifetime
        self._memory.keep(source, message.message_id, raw, None, now, lifetime)
        sifted = sift(message.options, request=True)
        resource = self._resources.get(sifted.texts(Option.URI_PATH))
        error = judge(message.code, sifted, resource)
        if error is not None or resource is None:
            nowhere = Resource(path=(), answer=lambda request: Reply(Code.NOT_FOUND))
            serving = Serving(source, message, sifted, nowhere, now, multicast)
            if confirmable or not sifted.refused:
                content = content_of(error or Reply(Code.NOT_FOUND), None, 0)
                self._respond(serving, content, now)
            return
        self._begin(Serving(source, message, sifted, resource, now, multicast), now)

    # Working on a request

    def _begin(self, serving: Serving, now: Instant) -> None:
        delay = serving.resource.delay
        if serving.multicast:
            leisure = self._chance.below(self._parameters.default_leisure + 1)
            delay = Duration(delay + leisure)
        if delay == ZERO:
            self._serve(serving, now)
            return
        if serving.confirmable and delay > self._ack_within:
            soon = Timer(self._timers, lambda due, present: self._acknowledge(serving))
            soon.set(after(now, self._ack_within))
        later = Timer(self._timers, lambda due, present: self._serve(serving, present))
        later.set(after(now, delay))

    def _acknowledge(self, serving: Serving) -> None:
        """Promise an answer (RFC 7252 §5.2.2)."""
        serving.acknowledged = True
        octets = empty(Type.ACKNOWLEDGEMENT, serving.message.message_id)
        self._memory.answer(serving.source, serving.message.message_id, octets)
        self._put(serving.source, octets)

    def _serve(self, serving: Serving, now: Instant) -> None:
        reply = self._reply(serving, now)
        wanted = serving.block(Option.BLOCK2)
        block = wanted if isinstance(wanted, Block) else None
        content = content_of(reply, block, self._parameters.block_exponent, serving.sifted)
        if block is None or block.number == 0:
            content = self._observers.register(serving, content, now)
        self._respond(serving, content, now)

    def _reply(self, serving: Serving, now: Instant) -> Reply:
        """Let the resource answer, as far as the blocks of a transfer allow."""
        sending, wanted = serving.block(Option.BLOCK1), serving.block(Option.BLOCK2)
        for refusal in (sending, wanted):
            if isinstance(refusal, Reply):
                return refusal
        message, key = serving.message, serving.key
        if message.code != Code.GET and isinstance(wanted, Block) and wanted.number:
            return self._uploads.kept(key, now) or Reply(Code.REQUEST_ENTITY_INCOMPLETE)
        payload = message.payload
        extra: tuple[tuple[int, bytes], ...] = ()
        if isinstance(sending, Block):
            content_format = serving.sifted.number(Option.CONTENT_FORMAT)
            taken = self._uploads.take(key, sending, content_format, payload, now)
            extra = ((Option.BLOCK1, self._agreed(sending).value()),)
            if isinstance(taken, Reply):
                return taken._replace(options=(*taken.options, *extra))
            payload = taken
        elif len(payload) > self._parameters.largest_body:
            return too_large(self._parameters.largest_body)
        reply = self._ask(serving, payload, now)
        if message.code != Code.GET:
            self._uploads.keep(key, reply, now)
        return reply._replace(options=(*reply.options, *extra))

    def _agreed(self, block: Block) -> Block:
        """Return the block as it is confirmed: the first may ask for smaller ones (RFC 7959 §2.3)."""
        smaller = min(block.exponent, self._parameters.block_exponent)
        return block if block.number else block._replace(exponent=smaller)

    def _ask(self, serving: Serving, payload: bytes, now: Instant) -> Reply:
        resource = serving.resource

        def current() -> Reply:
            return resource.answer(serving.request(b"", now)._replace(method=Code.GET))

        problem = precondition(serving.sifted, current if Code.GET in resource.methods else None)
        return problem or resource.answer(serving.request(payload, now))

    def _respond(self, serving: Serving, content: Content, now: Instant) -> None:
        """Send a response in the way that the request and the time it took ask for."""
        message = serving.message
        if serving.multicast and not (is_success(content[0]) and content[2]):
            return
        if not serving.confirmable:
            self._visitors.of(serving.source).tell(message.token, content, now)
        elif serving.acknowledged:
            Separate(message.token, content).send(self._visitors.of(serving.source), now)
        else:
            kind, message_id = Type.ACKNOWLEDGEMENT, message.message_id
            octets = encode(Message(kind, content[0], message_id, message.token, *content[1:]))
            self._memory.answer(serving.source, message_id, octets)
            self._put(serving.source, octets)

    # Keeping clients informed

    def changed(self, path: tuple[str, ...], now: Instant) -> None:
        """Tell the observers of a resource that it has a new representation."""
        self._observers.changed(path, now)

    def observers(self, path: tuple[str, ...]) -> int:
        """Return how many subscriptions there are to a resource."""
        return self._observers.count(path)

    # Time, and what is sent

    def tick(self, now: Instant) -> None:
        """Learn that time has reached `now`."""
        while self._timers.fire(now):
            pass

    def next_wakeup(self) -> Instant | None:
        """Return when something changes by itself; None when nothing will."""
        return self._timers.next()

    def take_sends(self) -> tuple[tuple[Address, bytes], ...]:
        """Hand over the datagrams, each with whom it is for, and forget them."""
        sends = tuple(self._sends)
        self._sends.clear()
        return sends

    def _put(self, peer: Address, octets: bytes) -> None:
        self._sends.append((peer, octets))
