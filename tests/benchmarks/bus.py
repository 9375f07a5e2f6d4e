"""The simulated segment: frames per second, published goodput and access bound, steady memory.

Published: INET showcase "Bounded Channel Access on 10BASE-T1S": 9.744 Mb/s of 1500-octet payload
with 9 stations (9.7448 by its formula), a bound of 614 µs for 8 nodes beside the coordinator and
11.1 ms with the largest frames.
"""

import time
import tracemalloc

from benchmarks.measure import Figure, show_time

from hil.bus.budget import budget
from hil.bus.medium import SegmentMedium
from hil.bus.saturation import Saturated, saturate
from hil.core.instant import MILLISECOND, Instant
from hil.wire.rack import Address, Envelope
from hil.wire.segment import Participant, Segment

NODES, LARGEST, SMALLEST = 9, 1518, 64
FRAMES = 400_000
WANTED = 200_000
GOODPUT, BOUND_SMALL_NS, BOUND_LARGEST_NS = 9.7448, 614_000, 11_082_800


def ring() -> Segment:
    participants = tuple(Participant(name=f"n{each}", plca_id=each) for each in range(NODES))
    return Segment(participants=participants, node_count=NODES)


def frames_per_second() -> float:
    began = time.perf_counter()
    sent = sum(saturate(ring(), LARGEST, FRAMES).frames.values())
    return sent / (time.perf_counter() - began)


def machine_frames_per_second() -> float:
    """Keep nine queues filled through the machine itself, as envelopes."""
    nodes = [Address("127.0.0.1", 47_800 + number) for number in range(NODES)]
    letters = [
        Envelope(nodes[who], nodes[(who + 1) % NODES], bytes(LARGEST - 46)) for who in range(NODES)
    ]
    medium = SegmentMedium(ring(), {node: f"n{who}" for who, node in enumerate(nodes)}, "n0")
    for thing in letters:
        for _ in range(200):
            medium.receive(thing, Instant(0))
    began, now, seen = time.perf_counter(), Instant(0), 0
    while seen < FRAMES:
        now = Instant(now + 100 * MILLISECOND)
        medium.tick(now)
        for thing in medium.take_sends():
            seen += 1
            medium.receive(letters[thing.source.port - 47_800], now)
    return seen / (time.perf_counter() - began)


def peak(frames: int) -> int:
    tracemalloc.start()
    saturate(ring(), LARGEST, frames)
    octets = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return octets


def within(what: str, value: float, published: float, unit: str) -> Figure:
    """Return how far a value is off a published one, in thousandths."""
    return Figure(
        what=what,
        value=f"{value:.6g} {unit}",
        floor=f"{published:.6g} {unit}",
        ratio=abs(value - published) / published * 1000,
        limit=1.0,
    )


def longest(seen: Saturated) -> int:
    return max(seen.longest.values())


def figures() -> list[Figure]:
    rate = max(frames_per_second() for _ in range(3))
    carried = max(machine_frames_per_second() for _ in range(3))
    large, small = (saturate(ring(), octets, 20_000) for octets in (LARGEST, SMALLEST))
    before, after = peak(20_000), peak(200_000)
    began = time.perf_counter()
    for _ in range(100):
        budget(ring())
    worked = (time.perf_counter() - began) / 100
    return [
        Figure(
            what="frames a second, nine saturated nodes",
            value=f"{rate:,.0f}",
            floor=f"{WANTED:,}",
            ratio=rate / WANTED,
            limit=1.0,
            at_least=True,
        ),
        Figure(
            what="the same with envelopes, in and out of the machine",
            value=f"{carried:,.0f}",
            floor=f"{WANTED:,}",
            ratio=carried / WANTED,
            limit=1.0,
            at_least=True,
        ),
        within("goodput, nine saturated nodes, ‰ off", large.goodput(1500), GOODPUT, "Mbit/s"),
        within(
            "longest wait, 64 octets, ‰ off", longest(small) / 1000, BOUND_SMALL_NS / 1000, "µs"
        ),
        within(
            "longest wait, 1518 octets, ‰ off", longest(large) / 1000, BOUND_LARGEST_NS / 1000, "µs"
        ),
        Figure(
            what="memory of 200,000 frames against 20,000",
            value=f"{after:,} octets",
            floor=f"{before:,} octets",
            ratio=after / before,
            limit=1.05,
        ),
        Figure(
            what="the budget of a segment",
            value=show_time(worked),
            floor="10 ms",
            ratio=worked / 0.01,
            limit=1.0,
        ),
    ]
