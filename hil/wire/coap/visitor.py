"""The clients of a node, each by its address, and what they are sent."""

from collections.abc import Callable

from hil.core.chance import Chance
from hil.core.instant import Instant
from hil.wire.coap.message import Message, Type, encode
from hil.wire.coap.message_ids import MessageIds
from hil.wire.coap.option import Options
from hil.wire.coap.parameters import Parameters
from hil.wire.coap.transmission import Transmission, Transmitter
from hil.wire.rack import Address
from hil.wire.timers import Timers

Content = tuple[int, Options, bytes]
"""Code, options and payload of a response."""


class Visitor:
    """What one client is sent."""

    __slots__ = ("ids", "put", "transmitter")

    def __init__(
        self, transmitter: Transmitter, ids: MessageIds, put: Callable[[bytes], None]
    ) -> None:
        self.transmitter, self.ids, self.put = transmitter, ids, put

    def tell(self, token: bytes, content: Content, now: Instant) -> int | None:
        """Send a non-confirmable response; return its id, None where no id is free."""
        message_id = self.ids.fresh(now)
        if message_id is not None:
            self.put(
                encode(Message(Type.NON_CONFIRMABLE, content[0], message_id, token, *content[1:]))
            )
        return message_id


class Separate:
    """A response in a confirmable message of its own (RFC 7252 §5.2.2)."""

    __slots__ = ("_content", "_token")

    def __init__(self, token: bytes, content: Content) -> None:
        self._token, self._content = token, content

    def send(self, visitor: Visitor, now: Instant) -> None:
        """Send it until it is acknowledged."""
        visitor.transmitter.submit(Transmission(self, True), now)

    def compose(self, message_id: int, now: Instant) -> bytes:
        """Make the datagram."""
        return encode(
            Message(Type.CONFIRMABLE, self._content[0], message_id, self._token, *self._content[1:])
        )

    def gave_up(self, why: str, at: Instant) -> None:
        """Learn that the client is gone: there is nobody to tell."""

    def was_reset(self, at: Instant) -> None:
        """Learn that the client does not want it any more."""


class Visitors:
    """All clients so far."""

    def __init__(
        self,
        timers: Timers,
        first_message_id: int,
        parameters: Parameters,
        put: Callable[[Address, bytes], None],
    ) -> None:
        self._timers, self._parameters, self._put = timers, parameters, put
        self._first_message_id = first_message_id
        self._chance = Chance(parameters.seed)
        self._visitors: dict[Address, Visitor] = {}

    def find(self, source: Address) -> Visitor | None:
        """Return a client that was sent something before."""
        return self._visitors.get(source)

    def of(self, source: Address) -> Visitor:
        """Return the client at an address."""
        visitor = self._visitors.get(source)
        if visitor is not None:
            return visitor
        ids = MessageIds(self._first_message_id, self._parameters.exchange_lifetime)

        def put(octets: bytes) -> None:
            self._put(source, octets)

        transmitter = Transmitter(self._timers, ids, self._chance, self._parameters, put)
        visitor = self._visitors[source] = Visitor(transmitter, ids, put)
        return visitor
