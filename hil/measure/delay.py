"""Delay variation and jitter of a stream of packets.

    IPDV     D(i) − D(i−1), of two packets that follow each other and both came     RFC 3393
    PDV      D(i) − D(min) over the interval, never negative                        RFC 5481 4.2
    jitter   D = (Rj − Ri) − (Sj − Si);  J += (|D| − J) / 16, from 0                RFC 3550 6.4.1
             whole numbers: s += |D| − ((s + 8) >> 4), reported s >> 4              RFC 3550 A.8
    round trip   A − LSR − DLSR on the 32-bit 16.16 clock                           RFC 3550 6.4.1

The transit R − S may be off by a constant (two clocks), which cancels in all but PDV's sense of
"delay".  A lost packet is None: it takes part in nothing, and breaks the pair it would be in.
"""

from collections.abc import Sequence
from itertools import pairwise


def ipdv(delays: Sequence[int | None]) -> list[int]:
    """Return the delay differences of packets that follow each other and were both received."""
    pairs = pairwise(delays)
    return [after - before for before, after in pairs if before is not None and after is not None]


def pdv(delays: Sequence[int | None]) -> list[int]:
    """Return how much longer each received packet took than the fastest."""
    known = [delay for delay in delays if delay is not None]
    return [delay - min(known) for delay in known]


def jitter(transits: Sequence[int]) -> list[float]:
    """Return RFC 3550's jitter estimate after each packet but the first."""
    estimate, estimates = 0.0, []
    for before, after in pairwise(transits):
        estimate += (abs(after - before) - estimate) / 16
        estimates.append(estimate)
    return estimates


def jitter_whole(transits: Sequence[int]) -> list[int]:
    """Return the integer form's state s after each packet but the first; reported is s >> 4."""
    state, states = 0, []
    for before, after in pairwise(transits):
        state += abs(after - before) - ((state + 8) >> 4)
        states.append(state)
    return states


def round_trip(arrival: int, last_report: int, held: int) -> int:
    """Return RFC 3550's round-trip time A − LSR − DLSR, modulo 2³², in 1/65536 s."""
    return (arrival - last_report - held) % (1 << 32)
