"""Getting one whole answer: as many exchanges as its blocks need, within one deadline."""

from collections.abc import Callable

from hil.core.instant import Instant
from hil.wire.coap.ask import Ask
from hil.wire.coap.exchange import Exchange, Exchanges, Purpose
from hil.wire.coap.message import Message
from hil.wire.coap.option import Option, Options, Sifted, from_uint
from hil.wire.coap.parameters import Parameters
from hil.wire.coap.transfer import Broken, Content, Transfer

Done = Callable[["Errand", Content | str, Instant], None]
"""Hears the whole answer, or why there is none."""


class Errand:
    """One ask on its way; `done` hears of it once.

    `transmissions` counts the datagrams, `exchanges` the requests they were.
    """

    __slots__ = (
        "_ask",
        "_current",
        "_done",
        "_exchanges",
        "_past",
        "_transfer",
        "_until",
        "exchanges",
        "sent_at",
    )

    def __init__(
        self, ask: Ask, exchanges: Exchanges, parameters: Parameters, until: Instant, done: Done
    ) -> None:
        self._ask, self._exchanges, self._until = ask, exchanges, until
        self._done = done
        self._transfer = Transfer(ask, parameters)
        self._current: Exchange | None = None
        self._past = 0
        self.exchanges = 0
        self.sent_at: Instant | None = None

    @property
    def transmissions(self) -> int:
        """Return how many datagrams were sent for it."""
        current = self._current
        return self._past + (current.transmission.count if current is not None else 0)

    def begin(self, now: Instant) -> None:
        """Send the first request."""
        self._go_on(now)

    def register(self, token: bytes, purpose: Purpose, now: Instant) -> None:
        """Send the first request as a registration under that token (RFC 7641 §3.1)."""
        self._go_on(now, token, purpose, ((Option.OBSERVE, from_uint(0)),))

    def take(self, message: Message, sifted: Sifted, at: Instant) -> None:
        """Begin with a message that came by itself; ask for the rest of its body."""
        self._take(message, sifted, at)

    def drop(self, now: Instant) -> None:
        """Want nothing any more."""
        if self._current is not None:
            self._exchanges.forget(self._current, now, answered=False)

    def _go_on(
        self,
        now: Instant,
        token: bytes | None = None,
        purpose: Purpose = Purpose.PLAIN,
        more: Options = (),
    ) -> None:
        options, payload = self._transfer.request()
        self.exchanges += 1
        self._current = self._exchanges.begin(
            self,
            self._ask.method,
            ((*options, *more), payload),
            self._until,
            now,
            token=token,
            confirmable=self._ask.confirmable,
            purpose=purpose,
        )

    def heard(self, exchange: Exchange, message: Message, sifted: Sifted, at: Instant) -> None:
        """Take the response to the request under way."""
        self._count(exchange)
        self._take(message, sifted, at)

    def failed(self, exchange: Exchange, why: str, at: Instant) -> None:
        """Learn that the request under way has no response."""
        self._count(exchange)
        part = f"part {self.exchanges}: " if self.exchanges > 1 else ""
        self._done(self, part + why, at)

    def _count(self, exchange: Exchange) -> None:
        self._past += exchange.transmission.count
        self._current = None
        if self.sent_at is None:
            self.sent_at = exchange.transmission.sent_at

    def _take(self, message: Message, sifted: Sifted, at: Instant) -> None:
        try:
            content = self._transfer.take(message, sifted)
        except Broken as broken:
            self._done(self, str(broken), at)
            return
        if content is None:
            self._go_on(at)
        else:
            self._done(self, content, at)
