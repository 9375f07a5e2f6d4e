"""Dry-run protection: an alarm that waits, latches, and is acknowledged.

    starting   nothing is judged yet: since a start, and until the first level is known
    clear      there is water
    dry        the level has been at or below the trip point for the whole delay, without a break;
               it stays until somebody acknowledges after the water has come back
    unknown    there is no level; what was latched before is shown again afterwards

An acknowledgement while it is still dry is ignored.  A restart of the head unit forgets the latch.
"""

from decimal import Decimal

from hil.core.instant import Duration, Instant
from hil.core.signal import Value
from hil.nodes.trip import TripPoint


class DryRun:
    """The machine of one delayed, latched alarm."""

    def __init__(self, point: TripPoint, delay: Duration, hold: Duration) -> None:
        self._point = point
        self._delay = delay
        self._hold = hold
        self.restart(Instant(0))

    def restart(self, now: Instant) -> None:
        """Forget everything and hold."""
        self._held_until = Instant(now + self._hold)
        self._held = self._hold > 0
        self._known = False  # something has been heard, be it that there is no level
        self._level: Decimal | None = None
        self._since: Instant | None = None  # at or below the trip point without a break
        self._standing = self._latched = False

    @property
    def shown(self) -> str:
        """What the head unit shows."""
        if self._held or not self._known:
            return "starting"
        if self._level is None:
            return "unknown"
        return "dry" if self._standing or self._latched else "clear"

    def receive(self, level: Value | None, now: Instant) -> None:
        """Take in the level, or that there is none."""
        self._known = True
        self._level = level if isinstance(level, Decimal) else None
        self._judge(now)

    def acknowledge(self) -> None:
        """Somebody has pressed the button."""
        if not self._standing:
            self._latched = False

    def tick(self, now: Instant) -> None:
        """End the hold, or the delay."""
        if self._held and now >= self._held_until:
            self._held = False
            self._judge(self._held_until)
        if self._since is not None and now >= self._since + self._delay:
            self._since = None
            self._standing = self._latched = True

    def next_wakeup(self) -> Instant | None:
        """Return when the hold or the delay is over."""
        if self._held:
            return self._held_until
        return None if self._since is None else Instant(self._since + self._delay)

    def take_sends(self) -> tuple[()]:
        """Return nothing: others show it."""
        return ()

    def _judge(self, now: Instant) -> None:
        if self._held:
            return
        if self._level is None:
            self._since, self._standing = None, False
        elif self._standing:
            self._standing = self._point.active(self._level, True)
        elif not self._point.active(self._level, False):
            self._since = None
        elif self._since is None:
            self._since = now
