"""Packets out of order.

    arrived          1 2 3 5 6 7 8 4 9 10
    reordered                      4          4 < NextExp = 9
    extent                 |-------|          4 = 7 − 3: back to the first with a greater number
    n-reordering           5 6 7 8            4 directly before it, all greater
    late time                                 arrival of 4 − arrival of that first one

Source: RFC 4737 3.3 and 4.1 to 4.2 for singleton, ratio, extent and late time; 5.2.2 for
n-reordering (section numbers and the last from memory).  Only the first copy of a packet counts.
Numbers must be unwrapped (hil.measure.counter).
"""

import bisect
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Reordered:
    """One reordered packet: its number, extent, n-reordering, and late time in nanoseconds."""

    number: int
    extent: int
    n: int
    late: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reordering:
    """All reordered packets of a stream, of how many that were received, and extra copies."""

    packets: tuple[Reordered, ...]
    received: int
    duplicates: int

    @property
    def ratio(self) -> Fraction:
        """Reordered / received, duplicates left out; 0 where nothing was received."""
        return Fraction(len(self.packets), self.received) if self.received else Fraction(0)

    def degree(self, n: int) -> int:
        """Return how many packets are n-reordered, which a receiver with n places would notice."""
        return sum(packet.n >= n for packet in self.packets)


def find_reordering(numbers: Sequence[int], instants: Sequence[int] | None = None) -> Reordering:
    """Find the reordered packets among numbers in the order of arrival.

    `instants` are the arrivals, for the late time.  Raises ValueError where there are not as many.
    """
    if instants is not None and len(instants) != len(numbers):
        raise ValueError(f"{len(instants)} instants for {len(numbers)} packets")
    arrived, stamps = _first_copies(numbers, instants)
    highest: list[int] = []  # the greatest number up to each place: never falls
    smaller: list[int] = []  # places of a rising sequence: the last is the nearest smaller one
    found: list[Reordered] = []
    for place, number in enumerate(arrived):
        while smaller and arrived[smaller[-1]] > number:
            smaller.pop()
        if highest and number < highest[-1]:
            first = bisect.bisect_right(highest, number)
            late = None if stamps is None else stamps[place] - stamps[first]
            run = place - 1 - (smaller[-1] if smaller else -1)
            found.append(Reordered(number=number, extent=place - first, n=run, late=late))
        highest.append(max(number, highest[-1]) if highest else number)
        smaller.append(place)
    return Reordering(
        packets=tuple(found), received=len(arrived), duplicates=len(numbers) - len(arrived)
    )


def _first_copies(
    numbers: Sequence[int], instants: Sequence[int] | None
) -> tuple[list[int], list[int] | None]:
    places = list({number: place for place, number in reversed(list(enumerate(numbers)))}.values())
    places.sort()
    arrived = [numbers[place] for place in places]
    return arrived, None if instants is None else [instants[place] for place in places]
