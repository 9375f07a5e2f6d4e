"""What was received already, so that a repetition is answered again and not acted on twice.

A message of the same id from the same peer within its lifetime is a repetition (RFC 7252 §4.5).
A real one has the same octets.  Other octets under an id that is still in use prove that it is
none: a node that restarted and counts from the same number again, or one that never counts.
Such a message is taken as a new one, and what is wrong with it is said.
"""

from collections import deque
from typing import NamedTuple

from hil.core.instant import Duration, Instant, after


class Seen(NamedTuple):
    """One message that was received, and what it was answered with (nothing yet: None)."""

    octets: bytes
    at: Instant
    expires: Instant
    reply: bytes | None


class Memory:
    """The messages of peers, each for as long as it lives."""

    __slots__ = ("_messages", "_order")

    def __init__(self) -> None:
        self._messages: dict[tuple[object, int], Seen] = {}
        self._order: deque[tuple[Instant, tuple[object, int]]] = deque()
        """When each is to be looked at again, and forgotten if it has not come anew."""

    def recall(self, peer: object, message_id: int, now: Instant) -> Seen | None:
        """Return the message of that id that is still alive."""
        seen = self._messages.get((peer, message_id))
        return seen if seen is not None and now < seen.expires else None

    def keep(
        self,
        peer: object,
        message_id: int,
        octets: bytes,
        reply: bytes | None,
        now: Instant,
        lifetime: Duration,
    ) -> None:
        """Remember a message and its reply; forget those that have outlived their time."""
        messages, order = self._messages, self._order
        while order and order[0][0] <= now:
            expires, old = order.popleft()
            seen = messages.get(old)
            if seen is not None and seen.expires == expires:
                del messages[old]
        key, expires = (peer, message_id), after(now, lifetime)
        messages[key] = Seen(octets, now, expires, reply)
        order.append((expires, key))

    def answer(self, peer: object, message_id: int, reply: bytes) -> None:
        """Note what a message was answered with."""
        seen = self._messages.get((peer, message_id))
        if seen is not None:
            self._messages[peer, message_id] = seen._replace(reply=reply)
