"""A line that is fought for: CSMA/CD in whole nanoseconds, without a machine around it.

Where PLCA is off, or no beacon comes, every node sends when the line has been quiet for one gap.
Two that begin within one propagation time of each other collide:

    both finish their preamble and jam (64 + 32 bt), then wait a random number of slots of
    512 bt, from 0 to 2^min(n, 10) - 1 after the n-th collision, and try again;
    after 16 attempts the frame is given up

Attempt limit: INET showcase tenbaset1s.  Slot, jam and back-off limit: IEEE 802.3 clause 4, from
memory.  Simplification: every pair of nodes is one cable's length apart.
"""

from collections import deque

from hil.bus.budget import propagation_ns
from hil.bus.segment import GAP_BT, Segment
from hil.bus.tally import Waits
from hil.bus.turns import Ended
from hil.core.chance import Chance
from hil.core.instant import Instant

ATTEMPTS = 16
BACKOFF_LIMIT = 10
SLOT_BT = 512
FRAGMENT_BT = 64 + 32


class Contention:
    """The line of a segment without turns; the same calls as hil.bus.turns.Turns."""

    def __init__(self, segment: Segment, start: Instant, seed: int) -> None:
        bit = segment.bit_ns
        count = len(segment.participants)
        self._gap, self._slot = GAP_BT * bit, SLOT_BT * bit
        self._fragment = FRAGMENT_BT * bit
        self._window = propagation_ns(segment)
        self._chance = [Chance(seed, 1 + number) for number in range(count)]
        self._quiet = start - self._gap
        self._ready = [int(start)] * count
        self._attempts = [0] * count
        self._since = [int(start)] * count
        self._waiting: set[int] = set()
        self.queues: list[deque[tuple[int, int, object]]] = [deque() for _ in range(count)]
        self.waits = [Waits() for _ in range(count)]
        self.collisions = [0] * count
        self.given_up: list[Ended] = []
        self.ended: list[Ended] = []
        self.busy = 0

    def offer(self, who: int, at: int, wire: int, thing: object) -> None:
        """Hand a frame to a MAC; `wire` is its time on the line in ns."""
        self.queues[who].append((at, wire, thing))
        if len(self.queues[who]) == 1:
            self._waiting.add(who)
            self._ready[who] = max(at, self._ready[who])

    def next_event(self) -> int | None:
        """Return when it is settled who has the line next; None for never."""
        return self._first() + self._window if self._waiting else None

    def next_end(self) -> int | None:
        """Return when something may next be done; frames end no earlier."""
        return self.next_event()

    def advance(self, until: int) -> None:
        """Settle every attempt that can be settled by `until`."""
        while self._waiting:
            first = self._first()
            if first + self._window > until:
                return
            clear = self._quiet + self._gap
            rivals = sorted(
                who for who in self._waiting if max(self._ready[who], clear) <= first + self._window
            )
            if len(rivals) == 1:
                self._send(rivals[0], first)
            else:
                self._collide(rivals, clear)

    def _first(self) -> int:
        clear = self._quiet + self._gap
        return max(clear, min(self._ready[who] for who in self._waiting))

    def _send(self, who: int, begin: int) -> None:
        came, wire, thing = self.queues[who].popleft()
        self.waits[who].add(begin - max(came, self._since[who]))
        self._since[who] = begin
        self._quiet = begin + wire
        self.busy += wire
        self.ended.append((self._quiet, who, wire, thing))
        self._next_frame(who)

    def _collide(self, rivals: list[int], clear: int) -> None:
        over = 0
        for who in rivals:
            stops = max(self._ready[who], clear) + self._fragment
            over = max(over, stops + self._window)
            self.collisions[who] += 1
            self._attempts[who] += 1
            if self._attempts[who] < ATTEMPTS:
                slots = self._chance[who].below(1 << min(self._attempts[who], BACKOFF_LIMIT))
                self._ready[who] = stops + slots * self._slot
            else:
                _, wire, thing = self.queues[who].popleft()
                self.given_up.append((stops, who, wire, thing))
                self._quiet = stops
                self._next_frame(who)
        self._quiet = over

    def _next_frame(self, who: int) -> None:
        self._attempts[who] = 0
        self._ready[who] = self._quiet
        queue = self.queues[who]
        if queue:
            self._ready[who] = max(self._quiet, queue[0][0])
        else:
            self._waiting.discard(who)
