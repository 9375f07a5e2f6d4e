"""How long frames waited and how busy the line was, in memory that does not grow.

Access delays are counted in buckets of equal relative width: 32 to each doubling, so that a
quantile is at most 1/32 (3.2 %) too high, and never too low.  Counts, sums and largest values
are exact.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from hil.core.instant import Duration, Instant

BUCKETS = 59 * 32 + 32


class Waits:
    """The access delays of one participant."""

    __slots__ = ("buckets", "count", "longest", "total")

    def __init__(self) -> None:
        self.count = self.total = self.longest = 0
        self.buckets = [0] * BUCKETS

    def add(self, delay: int) -> None:
        """Count one delay, in nanoseconds."""
        self.count += 1
        self.total += delay
        if delay > self.longest:
            self.longest = delay
        shift = delay.bit_length() - 6 if delay > 63 else 0
        self.buckets[(shift << 5) + (delay >> shift)] += 1

    def quantile(self, permille: int) -> Duration:
        """Return a delay that so many of a thousand frames did not exceed; 0 without frames."""
        wanted = -(-self.count * permille // 1000)
        seen = 0
        for index, amount in enumerate(self.buckets):
            seen += amount
            if amount and seen >= wanted:
                return Duration(min(_top(index), self.longest))
        return Duration(0)


def _top(index: int) -> int:
    """Return the largest delay of a bucket."""
    if index < 64:
        return index
    shift = (index >> 5) - 1
    return ((32 + (index & 31) + 1) << shift) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """One participant's part in the traffic so far.

    Frames: `handed` to its MAC, `sent`, still `waiting`, `refused` because the queue was full,
    `given_up` after too many collisions.  `airtime` is how long its frames held the line;
    `wait_median`, `wait_high` (99 of 100) and `wait_longest` are their access delays.
    """

    name: str
    handed: int
    sent: int
    waiting: int
    refused: int
    given_up: int
    collisions: int
    airtime: Duration
    wait_median: Duration
    wait_high: Duration
    wait_longest: Duration


@dataclass(frozen=True, slots=True, kw_only=True)
class Counters:
    """The traffic of a segment from its start to `at`.

    `busy` is the time in which the line carried frames, without gaps; `spoiled` counts frames
    with a bit error and `lost` those that noise swallowed whole.
    """

    at: Instant
    elapsed: Duration
    busy: Duration
    frames: int
    spoiled: int
    lost: int
    shares: Sequence[Share]

    @property
    def utilisation(self) -> float:
        """Return the part of the time in which the line carried frames."""
        return self.busy / self.elapsed if self.elapsed > 0 else 0.0
