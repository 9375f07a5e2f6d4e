"""How fast the segment is simulated: python tests/bus/benchmark_segment.py

Not a test: it prints, beside the frames of the simulation, how often the same computer goes round
an empty loop in that time.
"""

import sys
import time
import tracemalloc
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from bus.segments import ring  # noqa: E402

from hil.bus.medium import SegmentMedium  # noqa: E402
from hil.bus.saturation import saturate  # noqa: E402
from hil.core.instant import MILLISECOND, Instant  # noqa: E402
from hil.wire.rack import Address, Envelope  # noqa: E402

NODES = [Address("127.0.0.1", 47_800 + number) for number in range(9)]
LETTERS = [Envelope(NODES[who], NODES[(who + 1) % 9], bytes(1400)) for who in range(9)]


def machine(frames: int, tick: int | None) -> int:
    """Keep nine queues filled; tick every so often, or at every wakeup."""
    medium = SegmentMedium(ring(9), {node: f"n{who}" for who, node in enumerate(NODES)}, "n0")
    for thing in LETTERS:
        for _ in range(200):
            medium.receive(thing, Instant(0))
    now, seen = Instant(0), 0
    while seen < frames:
        now = medium.next_wakeup() if tick is None else Instant(now + tick)
        medium.tick(now)
        for thing in medium.take_sends():
            seen += 1
            medium.receive(LETTERS[thing.source.port - 47_800], now)
    return seen


def report(name: str, run) -> None:
    begin = time.perf_counter()
    frames = run()
    took = time.perf_counter() - begin
    begin = time.perf_counter()
    for _ in range(1_000_000):
        pass
    rounds = 1_000_000 / (time.perf_counter() - begin)
    print(
        f"{name:28} {frames / took:12,.0f} frames/s   1 frame = {rounds * took / frames:5.1f} empty rounds"
    )


def growth(frames: int) -> int:
    tracemalloc.start()
    saturate(ring(9), 1518, frames)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


if __name__ == "__main__":
    report("line, PLCA", lambda: sum(saturate(ring(9), 1518, 1_000_000).frames.values()))
    report(
        "line, bursts of 3",
        lambda: sum(saturate(ring(9, burst_count=2), 1518, 300_000).frames.values()),
    )
    report(
        "line, CSMA/CD", lambda: sum(saturate(ring(9, plca=False), 1518, 100_000).frames.values())
    )
    report("machine, a tick each 100 ms", lambda: machine(300_000, 100 * MILLISECOND))
    report("machine, every wakeup", lambda: machine(200_000, None))
    print(
        f"peak memory of 10 000 and 100 000 frames: {growth(10_000):,} and {growth(100_000):,} octets"
    )
