"""Keeping clients informed of resources (RFC 7641, the server's side)."""

from collections import deque
from collections.abc import Callable

from hil.core.instant import SECOND, Duration, Instant
from hil.wire.coap.block import Block
from hil.wire.coap.code import Code, is_success
from hil.wire.coap.message import Message, Type, encode
from hil.wire.coap.option import Option, from_uint
from hil.wire.coap.serving import Serving, content_of
from hil.wire.coap.subscription import DEREGISTER
from hil.wire.coap.transmission import Transmission
from hil.wire.coap.visitor import Content, Visitor, Visitors
from hil.wire.rack import Address

LONGEST_UNCONFIRMED = Duration(24 * 60 * 60 * SECOND)
"""How long notifications may go without asking for an acknowledgement (RFC 7641 §4.5)."""
_REMEMBERED = 16


class Observer:
    """One subscription of a client (RFC 7641, the server's side).

    `look` makes the present representation.  Every `confirm_every`-th notification asks for an
    acknowledgement; while one is awaited, changes wait for it, and only the latest is sent (§4.5).
    """

    __slots__ = (
        "_confirm_every",
        "_confirmed_at",
        "_count",
        "_ending",
        "_look",
        "_number",
        "_over",
        "_sent",
        "_transmission",
        "path",
        "token",
        "visitor",
    )

    def __init__(
        self,
        visitor: Visitor,
        token: bytes,
        path: tuple[str, ...],
        look: Callable[[Instant], Content],
        number: Callable[[], int],
        confirm_every: int,
        over: Callable[["Observer", Instant], None],
        now: Instant,
    ) -> None:
        self.visitor, self.token, self.path = visitor, token, path
        self._look, self._number, self._over = look, number, over
        self._confirm_every = confirm_every
        self._confirmed_at = now
        self._count = 0
        self._ending = False
        self._transmission: Transmission | None = None
        self._sent: deque[int] = deque(maxlen=_REMEMBERED)

    def changed(self, now: Instant) -> None:
        """Tell the client how things are now."""
        if self._transmission is not None:
            self._transmission.stale = True
            return
        self._count += 1
        due = now - self._confirmed_at >= LONGEST_UNCONFIRMED
        if due or self._count % self._confirm_every == 0:
            self._transmission = Transmission(self, True)
            self.visitor.transmitter.submit(self._transmission, now)
            return
        content = self._content(now)
        message_id = self.visitor.tell(self.token, content, now)
        if message_id is not None:
            self._sent.append(message_id)
        if self._ending:
            self._over(self, now)

    def sent_as(self, message_id: int) -> bool:
        """Return whether one of the last few notifications had this id."""
        return message_id in self._sent

    def acknowledged(self, now: Instant) -> None:
        """Learn that the client has the notification that was to be acknowledged."""
        transmission, self._transmission = self._transmission, None
        self._confirmed_at = now
        if self._ending:
            self._over(self, now)
        elif transmission is not None and transmission.stale:
            self.changed(now)

    def drop(self, now: Instant) -> None:
        """Tell the client nothing more."""
        if self._transmission is not None:
            self.visitor.transmitter.close(self._transmission, now)

    def compose(self, message_id: int, now: Instant) -> bytes:
        """Make the datagram of a confirmable notification, of how things are now."""
        code, options, payload = self._content(now)
        return encode(Message(Type.CONFIRMABLE, code, message_id, self.token, options, payload))

    def gave_up(self, why: str, at: Instant) -> None:
        """Learn that the client is gone."""
        self._over(self, at)

    def was_reset(self, at: Instant) -> None:
        """Learn that the client is not interested any more."""
        self._over(self, at)

    def _content(self, now: Instant) -> Content:
        """Look, and number what is a representation; an error ends the subscription (§4.2)."""
        code, options, payload = self._look(now)
        self._ending = not is_success(code)
        if not self._ending:
            options = (*options, (Option.OBSERVE, from_uint(self._number())))
        return code, options, payload


class Observers:
    """All subscriptions at a node; a client's address and token tell them apart."""

    def __init__(self, visitors: Visitors, exponent: int, confirm_every: int) -> None:
        self._visitors, self._exponent = visitors, exponent
        self._confirm_every = confirm_every
        self._observers: dict[tuple[Address, bytes], Observer] = {}
        self._number = 0

    def changed(self, path: tuple[str, ...], now: Instant) -> None:
        """Tell the observers of a resource that it has a new representation."""
        for observer in list(self._observers.values()):
            if observer.path == path:
                observer.changed(now)

    def count(self, path: tuple[str, ...]) -> int:
        """Return how many subscriptions there are to a resource."""
        return sum(observer.path == path for observer in self._observers.values())

    def register(self, serving: Serving, content: Content, now: Instant) -> Content:
        """Take in or let go an observer, where the request says so (RFC 7641 §4.1).

        Returns the response, with the Observe option where the client is kept informed.
        """
        wish = serving.sifted.number(Option.OBSERVE)
        if wish is None or serving.message.code != Code.GET:
            return content
        key = (serving.source, serving.message.token)
        known = self._observers.pop(key, None)
        if known is not None:
            known.drop(now)
        if wish == DEREGISTER or not serving.resource.observable or not is_success(content[0]):
            return content
        self._observers[key] = Observer(
            self._visitors.of(serving.source),
            serving.message.token,
            serving.resource.path,
            lambda present: self._look(serving, present),
            self._next_number,
            self._confirm_every,
            self._forget,
            now,
        )
        code, options, payload = content
        return code, (*options, (Option.OBSERVE, from_uint(self._next_number()))), payload

    def not_interested(self, source: Address, message_id: int, now: Instant) -> None:
        """End the subscription that a notification was of which the client has reset (§3.6)."""
        for (address, _), observer in list(self._observers.items()):
            if address == source and observer.sent_as(message_id):
                self._forget(observer, now)

    def _forget(self, observer: Observer, now: Instant) -> None:
        observer.drop(now)
        for key, known in list(self._observers.items()):
            if known is observer:
                del self._observers[key]

    def _look(self, serving: Serving, now: Instant) -> Content:
        """Make a representation for an observer; the first block of it where it is long."""
        wanted = serving.block(Option.BLOCK2)
        block = wanted if isinstance(wanted, Block) else None
        reply = serving.resource.answer(serving.request(b"", now))
        return content_of(reply, block, self._exponent)

    def _next_number(self) -> int:
        self._number = (self._number + 1) % (1 << 24)
        return self._number
