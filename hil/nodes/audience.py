"""Who is told a node's readings, until when, and how many each has been told.

    a listener    asked for it, and is told for a while
    the group     where the node has one, is told for ever without asking

Each listener has its own sequence numbers, so that a gap is a loss; with a group all readings are
counted as one, whomever they go to.
"""

from hil.core.instant import Instant
from hil.wire.rack import Address

REMEMBERED = 64
"""Counts kept of those who are listeners no more."""

_NEVER = Instant(1 << 63)


class Audience:
    """The listeners of one node."""

    __slots__ = ("_all", "_counts", "_first_expiry", "_group", "_until")

    def __init__(self, group: Address | None) -> None:
        self._group = group
        self._until: dict[Address, Instant] = {}
        self._counts: dict[Address, int] = {}
        self._note()

    def __contains__(self, listener: Address) -> bool:
        return listener in self._until

    def add(self, listener: Address, until: Instant) -> None:
        """Let somebody be a listener until then."""
        self._until[listener] = until
        self._note()

    def at(self, now: Instant) -> tuple[Address, ...]:
        """Return who is told now."""
        if now > self._first_expiry:
            self._until = {to: until for to, until in self._until.items() if now <= until}
            self._note()
        return self._all

    def count(self, to: Address) -> int:
        """Return the sequence number of the next reading to somebody."""
        counts, key = self._counts, self._group or to
        number = counts.get(key, 0)
        counts[key] = number + 1
        return number

    def tidy(self) -> None:
        """Forget the counts of those who are listeners no more, once they are many."""
        if len(self._counts) > REMEMBERED:
            kept = (*self._until, *([] if self._group is None else [self._group]))
            self._counts = {to: self._counts.get(to, 0) for to in kept}

    def leave(self) -> tuple[Address, ...]:
        """Forget everybody and every count; return who was told until now."""
        former = self._all
        self._until.clear()
        self._counts.clear()
        self._note()
        return former

    def _note(self) -> None:
        self._all = (*self._until, *([] if self._group is None else [self._group]))
        self._first_expiry = min(self._until.values(), default=_NEVER)
