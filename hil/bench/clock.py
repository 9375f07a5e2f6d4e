"""The wall bench's clock: CLOCK_MONOTONIC, and kernel stamps brought onto it.

The kernel stamps datagrams with CLOCK_REALTIME, which steps when time is synchronised; deadlines
live on CLOCK_MONOTONIC, which does not.  Both are slewed alike, so the offset between them is
constant until somebody steps the wall clock.  `look` measures the offset each time the bench
wakes; a stamp is turned into an instant with it at once.  Where a step makes a stamp ambiguous
the time of reading is taken instead.

Both clocks are given to it, so that tests can step them.
"""

import time
from collections.abc import Callable
from typing import cast

from hil.core.instant import Duration, Instant, show_duration
from hil.core.observation import HostNote, HostTrouble

STEP = 50_000
"""A smaller change of the offset, in ns, is taken for the spread of reading two clocks."""

SLOP = 100_000_000
"""A stamp so far outside of the time since the last look cannot be right, in ns."""

_TIGHT = 5_000  # two reads of the monotonic clock that lie closer were not interrupted


class StampClock:
    """Turns kernel stamps into instants and notices steps of the wall clock."""

    __slots__ = ("_offset", "_old_offset", "_realtime", "now", "seen")

    now: Callable[[], Instant]
    """Reads the monotonic clock."""

    seen: Instant
    """When it looked last."""

    def __init__(
        self,
        monotonic: Callable[[], int] = time.monotonic_ns,
        realtime: Callable[[], int] = time.time_ns,
    ) -> None:
        self.now = cast(Callable[[], Instant], monotonic)  # not wrapped: it is read all the time
        self._realtime = realtime
        self._offset, self.seen = self._measure()[:2]
        self._old_offset: int | None = None

    def look(self) -> HostNote | None:
        """Measure the offset anew; return a note when the wall clock was stepped since."""
        before = self.now()
        offset = self._realtime() - before
        if -STEP <= offset - self._offset <= STEP and self._old_offset is None:
            self.seen = self.now()  # nothing happened, as nearly always
            return None
        offset, now, spread = self._measure()
        step = offset - self._offset
        since, self.seen = self.seen, now
        if abs(step) <= STEP + spread:
            self._old_offset = None
            return None
        self._old_offset, self._offset = self._offset, offset
        way = "forward" if step > 0 else "back"
        return HostNote(
            trouble=HostTrouble.CLOCK,
            at=now,
            amount=step,
            since=since,
            text=f"the wall clock stepped {way} by {show_duration(Duration(abs(step)))}",
        )

    def instant_of(self, stamp: int, floor: int) -> Instant:
        """Return when a datagram with this CLOCK_REALTIME stamp arrived.

        `floor` is the last horizon: it cannot have arrived earlier.  Never later than now.
        """
        now = self.now()
        at = stamp - self._offset
        if self._old_offset is not None:
            likely = [
                instant
                for offset in (self._offset, self._old_offset)
                if floor - STEP <= (instant := stamp - offset) <= now + STEP
            ]
            at = likely[0] if len(likely) == 1 else now
        elif not floor - SLOP <= at <= now + SLOP:
            at = now
        if at > now:
            return now
        return Instant(at if at >= floor else floor)

    def _measure(self) -> tuple[int, Instant, int]:
        """Return the offset, the instant and the spread of the best of up to four readings."""
        best: tuple[int, Instant, int] | None = None
        for _ in range(4):
            before = self.now()
            wall = self._realtime()
            after = self.now()
            spread = after - before
            if best is None or spread < best[2]:
                best = (wall - before - spread // 2, after, spread)
            if spread <= _TIGHT:
                break
        assert best is not None
        return best
