"""One request and the response to it: what has the same token belongs together (RFC 7252 §5.3).

A response comes in the acknowledgement, where the message id must fit too, or in a message of
its own, before or after the acknowledgement.
"""

from collections import deque
from collections.abc import Callable
from enum import Enum
from typing import Protocol

from hil.core.instant import Instant
from hil.wire.coap.message import Message, Type, encode
from hil.wire.coap.option import Option, Options, Sifted
from hil.wire.coap.transmission import Transmission, Transmitter

_REMEMBERED = 64


class Purpose(Enum):
    """What a request is for, as far as its token is also that of notifications.

    While such a request is under way, a message of its token may be a notification.
    """

    PLAIN = "plain"
    RENEWAL = "renewal"
    DEREGISTRATION = "deregistration"


class Asker(Protocol):
    """Whoever made the request; hears of it once."""

    def heard(self, exchange: "Exchange", message: Message, sifted: Sifted, at: Instant) -> None:
        """Learn the response."""

    def failed(self, exchange: "Exchange", why: str, at: Instant) -> None:
        """Learn that there is none."""


class Exchange:
    """One request that is under way."""

    __slots__ = (
        "_asker",
        "_code",
        "_exchanges",
        "_options",
        "_payload",
        "purpose",
        "token",
        "transmission",
    )

    def __init__(
        self,
        exchanges: "Exchanges",
        asker: Asker,
        token: bytes,
        code: int,
        content: tuple[Options, bytes],
        purpose: Purpose,
    ) -> None:
        self._exchanges, self._asker = exchanges, asker
        self.token, self.purpose = token, purpose
        self._code = code
        self._options, self._payload = content
        self.transmission: Transmission

    def compose(self, message_id: int, now: Instant) -> bytes:
        """Make the datagram."""
        kind = Type.CONFIRMABLE if self.transmission.confirmable else Type.NON_CONFIRMABLE
        return encode(
            Message(kind, self._code, message_id, self.token, self._options, self._payload)
        )

    def gave_up(self, why: str, at: Instant) -> None:
        """Learn that nothing came in time."""
        self._exchanges.forget(self, at, answered=False)
        self._asker.failed(self, why, at)

    def was_reset(self, at: Instant) -> None:
        """Learn that the node cannot make sense of the request (RFC 7252 §4.2)."""
        self.gave_up("the node answered with a Reset", at)

    def answered(self, message: Message, sifted: Sifted, at: Instant) -> None:
        """Take the response."""
        self._exchanges.forget(self, at, answered=True)
        self._asker.heard(self, message, sifted, at)

    def expects(self, sifted: Sifted) -> bool:
        """Say whether a message of this token is the response, rather than a notification.

        One that came after the acknowledgement of a renewal is taken for the response: the node
        knew of the renewal when it sent that.
        """
        if self.purpose is Purpose.PLAIN or Option.OBSERVE not in sifted.known:
            return True
        return self.purpose is Purpose.RENEWAL and self.transmission.acknowledged


class Exchanges:
    """The requests to one node that are under way, and the last few that were."""

    def __init__(self, transmitter: Transmitter, first_token: int, token_length: int) -> None:
        self.transmitter = transmitter
        self._token, self._length = first_token, token_length
        self._open: dict[bytes, Exchange] = {}
        self._reserved: set[bytes] = set()
        self._closed: deque[tuple[bytes, int, bool, Instant]] = deque(maxlen=_REMEMBERED)

    def fresh_token(self) -> bytes:
        """Return a token that nothing under way has."""
        while True:
            token = (self._token % (1 << 8 * self._length)).to_bytes(self._length, "big")
            self._token += 1
            if token not in self._open and token not in self._reserved:
                return token

    def reserve(self, token: bytes) -> None:
        """Keep a token for a subscription."""
        self._reserved.add(token)

    def release(self, token: bytes) -> None:
        """Let a subscription's token go."""
        self._reserved.discard(token)

    def begin(
        self,
        asker: Asker,
        code: int,
        content: tuple[Options, bytes],
        until: Instant,
        now: Instant,
        *,
        token: bytes | None = None,
        confirmable: bool = True,
        purpose: Purpose = Purpose.PLAIN,
    ) -> Exchange:
        """Send a request; the asker hears what became of it."""
        token = self.fresh_token() if token is None else token
        exchange = Exchange(self, asker, token, code, content, purpose)
        exchange.transmission = Transmission(exchange, confirmable, until)
        self._open[token] = exchange
        self.transmitter.submit(exchange.transmission, now)
        return exchange

    def find(self, token: bytes) -> Exchange | None:
        """Return the request under way that has this token."""
        return self._open.get(token)

    def forget(self, exchange: Exchange, at: Instant, answered: bool) -> None:
        """Let a request go: the asker hears nothing more of it."""
        self.transmitter.close(exchange.transmission, at)
        if self._open.get(exchange.token) is exchange:
            del self._open[exchange.token]
        message_id = exchange.transmission.message_id
        self._closed.append((exchange.token, message_id, answered, at))

    def closed(self, fits: Callable[[bytes, int], bool]) -> tuple[bool, Instant] | None:
        """Return how and when the latest of the closed requests ended that fits."""
        for token, message_id, answered, at in reversed(self._closed):
            if fits(token, message_id):
                return answered, at
        return None
