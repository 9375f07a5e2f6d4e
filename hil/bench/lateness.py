"""How late the bench itself was.

A bench that did not run when it should have cannot blame a node.  Two things are measured all
the time: waking later than asked, and not coming back to wait for longer than the bound.
"""

from hil.core.instant import Duration, Instant, show_duration
from hil.core.observation import HostNote, HostTrouble


class Lateness:
    """Measures the bench's own lateness against a bound."""

    __slots__ = ("_bound", "_left", "worst")

    def __init__(self, bound: Duration, now: Instant) -> None:
        self._bound = bound
        self._left = now
        self.worst = Duration(0)

    def came_back(self, now: Instant) -> HostNote | None:
        """The run came back to wait."""
        return self._judge(self._left, now, "was busy with other things for")

    def woke(self, asked: Instant, now: Instant) -> HostNote | None:
        """The bench woke, and was asked to at the latest at `asked`."""
        return self._judge(asked, now, "woke late by")

    def left(self, now: Instant) -> None:
        """The bench handed over to the run."""
        self._left = now

    def sending(self, before: Instant, after: Instant) -> HostNote | None:
        """Handing a datagram to the system took from `before` to `after`."""
        return self._judge(before, after, "was held while sending for")

    def _judge(self, since: Instant, now: Instant, what: str) -> HostNote | None:
        amount = Duration(now - since)
        if amount > self.worst:
            self.worst = amount
        if amount <= self._bound:
            return None
        return HostNote(
            trouble=HostTrouble.LATE,
            at=now,
            amount=amount,
            since=since,
            text=f"the bench computer {what} {show_duration(amount)}",
        )
