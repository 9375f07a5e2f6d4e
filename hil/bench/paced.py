"""Virtual time at the pace of the clock, for people who look on.

The software nodes run in process as on any virtual bench; what they do is handed over when as much
real time has passed.  Nothing is judged on such a bench, so it need not be exact: it never runs
ahead of the clock, and falls behind when the computer is busy.  Once the bell has rung it runs on
without a pause: somebody wants it to end.
"""

import select
import time

from hil.bench.aside import Aside
from hil.bench.bench import Arrival, Bench
from hil.core.instant import Instant
from hil.wire.link import Packet

_CHUNK = 1_000_000_000  # ns; a bell that nobody could ring is still looked at so often


class PacedBench:
    """A virtual bench whose instants come when they are due; `bell` wakes it (an interrupt)."""

    def __init__(self, bench: Bench, bell: int) -> None:
        self._bench = bench
        self._bell = bell
        self._ahead = time.monotonic_ns() - bench.now()
        self.stamps = bench.stamps

    def now(self) -> Instant:
        return self._bench.now()

    def send(self, packet: Packet) -> Instant:
        return self._bench.send(packet)

    def wait(self, until: Instant | None) -> tuple[list[Arrival], Instant]:
        arrivals, horizon = self._bench.wait(until)
        due = horizon + self._ahead
        while (left := due - time.monotonic_ns()) > 0:
            rung, _, _ = select.select([self._bell], [], [], min(left, _CHUNK) / 1e9)
            if rung:
                break
        return arrivals, horizon

    def heed(self, aside: Aside) -> None:
        self._bench.heed(aside)

    def close(self) -> None:
        self._bench.close()
