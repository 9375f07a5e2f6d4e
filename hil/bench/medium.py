"""What carries envelopes between the tool and the software nodes in virtual time.

A medium is a machine: it receives an envelope when it is sent and hands it over when it arrives.
A medium may lose, delay, double or reorder what it carries; this one only takes its time.
"""

from collections import deque
from typing import Protocol

from hil.core.instant import Duration, Instant
from hil.wire.rack import Envelope

TRANSIT = Duration(200_000)
"""How long an envelope is under way: about one short frame and its turn on a 10 Mbit/s segment
(IEEE 802.3cg-2019 clause 148: one turn of a small segment lasts some hundred microseconds)."""


class Medium(Protocol):
    """What the virtual bench needs of a segment."""

    def receive(self, thing: Envelope, now: Instant) -> None:
        """Take an envelope that is sent at `now`."""

    def tick(self, now: Instant) -> None:
        """Learn that time has reached `now`."""

    def next_wakeup(self) -> Instant | None:
        """Return when the next envelope arrives, or something else changes; None for never."""

    def take_sends(self) -> tuple[Envelope, ...]:
        """Hand over the envelopes that have arrived, in the order of their arrival."""


class SteadyMedium:
    """Carries every envelope in the same time, so that order is kept and nothing is lost."""

    __slots__ = ("_now", "_transit", "_under_way")

    def __init__(self, transit: Duration = TRANSIT) -> None:
        self._transit = transit
        self._under_way: deque[tuple[Instant, Envelope]] = deque()
        self._now = Instant(-1)

    def receive(self, thing: Envelope, now: Instant) -> None:
        self._under_way.append((Instant(now + self._transit), thing))

    def tick(self, now: Instant) -> None:
        self._now = now

    def next_wakeup(self) -> Instant | None:
        return self._under_way[0][0] if self._under_way else None

    def take_sends(self) -> tuple[Envelope, ...]:
        under_way, arrived = self._under_way, []
        while under_way and under_way[0][0] <= self._now:
            arrived.append(under_way.popleft()[1])
        return tuple(arrived)
