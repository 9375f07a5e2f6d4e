"""Counters that wrap.

    counter   FFFFFF00 ─→ 00000100       512 counts on, at 32 bits: differences are modulo 2³²
    uptime    FFFFFF00 ─→ 00000100       with the boot count one higher: a reboot, and no difference

A 32-bit count of milliseconds wraps after 49.7 days, of microseconds after 71 min 34.97 s.
"""

from collections.abc import Sequence
from fractions import Fraction


def counts_between(before: int, after: int, width: int = 32) -> int:
    """Return how far a counter went forward, by less than one wrap."""
    return (after - before) % (1 << width)


def unwrap(
    counts: Sequence[int],
    width: int = 32,
    *,
    instants: Sequence[int] | None = None,
    tick: Fraction | int | None = None,
) -> list[int]:
    """Return counts that go on beyond the wrap; the first stays as it is.

    Each is taken as near as can be to what is expected: the one before it, or with `instants` (of
    the same looks, in nanoseconds) and `tick` (nanoseconds a count) that much further on.  So a
    count may go back (packets out of order), and a silence may be longer than a wrap.  Right as
    long as the expectation is off by less than half a wrap.  Raises ValueError on a count that does
    not fit the width.
    """
    if (instants is None) != (tick is None):
        raise ValueError("instants and the tick go together")
    if instants is not None and len(instants) != len(counts):
        raise ValueError(f"{len(instants)} instants for {len(counts)} counts")
    whole, half = 1 << width, 1 << (width - 1)
    unwrapped: list[int] = []
    for place, count in enumerate(counts):
        if not 0 <= count < whole:
            raise ValueError(f"{count} does not fit {width} bits")
        if not unwrapped:
            unwrapped.append(count)
            continue
        expected = unwrapped[-1]
        if instants is not None and tick is not None:
            expected += round((instants[place] - instants[place - 1]) / Fraction(tick))
        unwrapped.append(expected + (count - expected + half) % whole - half)
    return unwrapped


def stretches(readings: Sequence[tuple[int, int]], width: int = 32) -> list[list[int]]:
    """Split (count, boots) readings at each reboot and unwrap each stretch by itself.

    A count that falls while the boot count stays is a wrap; a boot count that changes is a reboot,
    whatever the count does.
    """
    found: list[list[int]] = []
    last_boots: int | None = None
    for count, boots in readings:
        if boots != last_boots:
            found.append([])
        found[-1].append(count)
        last_boots = boots
    return [unwrap(stretch, width) for stretch in found]
