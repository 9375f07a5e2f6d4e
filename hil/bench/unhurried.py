"""A bench that lets datagrams wait a little and then takes all of them at once.

To wake for every datagram costs more than to read it.  Where nobody is judged, what comes is read
every few milliseconds; when it came, the kernel has noted.
"""

import select

from hil.bench.aside import Aside
from hil.bench.bench import Arrival, Bench
from hil.core.instant import Duration, Instant
from hil.wire.link import Packet


class UnhurriedBench:
    """Takes what has come every `period`; `bell` wakes it (an interrupt)."""

    def __init__(self, bench: Bench, bell: int, period: Duration) -> None:
        self._bench = bench
        self._bell = bell
        self._period = period
        self._next = bench.now()
        self.stamps = bench.stamps

    def now(self) -> Instant:
        return self._bench.now()

    def send(self, packet: Packet) -> Instant:
        return self._bench.send(packet)

    def wait(self, until: Instant | None) -> tuple[list[Arrival], Instant]:
        now = self._bench.now()
        due = self._next if until is None else min(self._next, until)
        if due > now:
            select.select([self._bell], [], [], (due - now) / 1e9)
            now = self._bench.now()
        if now >= self._next:
            self._next = Instant(now + self._period)
        return self._bench.wait(now)

    def heed(self, aside: Aside) -> None:
        self._bench.heed(aside)

    def close(self) -> None:
        self._bench.close()
