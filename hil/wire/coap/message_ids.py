"""Fresh message ids: none is used twice within the lifetime of an exchange (RFC 7252 §4.4).

There are 65,536 of them, so a peer is sent at most that many messages in 247 s.  Ids are handed
out in order; when each was last used is remembered for blocks of 256.
"""

from hil.core.instant import Duration, Instant, after

_BLOCK = 256
_SPAN = 1 << 16


class MessageIds:
    """The ids of messages to one peer."""

    __slots__ = ("_lifetime", "_next", "_used")

    def __init__(self, first: int, lifetime: Duration) -> None:
        self._next = first % _SPAN
        self._lifetime = lifetime
        self._used: list[Instant | None] = [None] * (_SPAN // _BLOCK)
        """The last use of an id of each block, as far as it lies behind."""

    def fresh(self, now: Instant) -> int | None:
        """Return an id; None where the next one was used too short a time ago."""
        number = self._next
        block, place = divmod(number, _BLOCK)
        if place == 0 and self.free_at() > now:
            return None
        self._next = (number + 1) % _SPAN
        self._used[block] = now
        return number

    def free_at(self) -> Instant:
        """Return from when on the next id may be used."""
        block, place = divmod(self._next, _BLOCK)
        used = self._used[block]
        if place or used is None:
            return Instant(0)
        return after(used, self._lifetime)
