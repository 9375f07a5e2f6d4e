"""A line that is taken in turns: PLCA in whole nanoseconds, without a machine around it.

Between two frames nothing is simulated.  The position in the cycle is one instant and one turn
number, and empty cycles are jumped over by division:

    at `_turn_at` turn number `_turn` opens; every turn nobody uses lasts one timer;
    after the last turn comes the beacon, then turn 0

A frame must be there when its turn opens; later it waits for the next cycle.  Its first bit:

    it came to a quiet line and is in the PHY's delay line   as the turn opens, or one gap after
                                                             the last frame ended
    it had to wait for another frame                         one gap after the turn opens: COMMIT
                                                             holds the line while the MAC counts it

(IEEE 802.3cg-2019 148.4.4 and 148.4.5 as modelled by INET, whose showcase and examples start
their frames at these instants.)  Simplification: the delay line is as long as the standard
allows, 99 nibbles; PHYs with a shorter one pay the gap (9.6 µs) more often.
"""

from collections import deque

from hil.bus.segment import BEACON_BT, GAP_BT, Segment
from hil.bus.tally import Waits
from hil.core.instant import Instant

DELAY_LINE_BT = 4 * 99  # IEEE 802.3cg-2019 148.4.5, as quoted in INET's EthernetPlca.ned

Ended = tuple[int, int, int, object]
"""A frame's last bit: when, the sender's index, its time on the line, what came with it."""


class Turns:
    """The line of a segment that takes turns; participants go by their index.

    `ended` collects frames in the order of their last bits, which may lie after the instant
    reached; whoever reads it empties it.
    """

    def __init__(self, segment: Segment, start: Instant) -> None:
        bit = segment.bit_ns
        turns = segment.turns()
        index = {each.name: number for number, each in enumerate(segment.participants)}
        self._owner = {turn: index[each.name] for turn, each in turns.items()}
        self._turn_of = {owner: turn for turn, owner in self._owner.items()}
        self._bursts = [each.burst_count for each in segment.participants]
        self._holds = [each.burst_timer * bit for each in segment.participants]
        self._count = segment.node_count
        self._to, self._gap = max(1, segment.to_timer) * bit, GAP_BT * bit
        self._beacon, self._delay_line = BEACON_BT * bit, DELAY_LINE_BT * bit
        self._cycle = self._count * self._to + self._beacon
        self._turn, self._turn_at = 0, start + self._beacon
        self._pending = 0
        self._plan: tuple[int, int, int, int] | None = None
        self._quiet = start - self._gap
        self._held: int | None = None
        self._held_until = self._burst = 0
        self._since = [int(start)] * len(index)
        self.queues: list[deque[tuple[int, int, object]]] = [deque() for _ in index]
        self.waits = [Waits() for _ in index]
        self.collisions = [0] * len(index)
        self.given_up: list[Ended] = []
        self.ended: list[Ended] = []
        self.busy = 0

    def offer(self, who: int, at: int, wire: int, thing: object) -> None:
        """Hand a frame to a MAC; `wire` is its time on the line in ns.

        Everything before `at` must have been gone through (`advance(at - 1)`).
        """
        queue = self.queues[who]
        queue.append((at, wire, thing))
        if len(queue) == 1:
            turn = self._turn_of.get(who)
            if turn is None:
                return
            if self._held is None and self._turn_at < at:
                self._jump(at)
            self._pending |= 1 << turn
            self._plan = None

    def next_event(self) -> int | None:
        """Return when the next frame is begun or a held turn is given up; None for never."""
        if self._held is not None:
            return self._after_burst(self._held)[0]
        return self._next()[0] if self._pending else None

    def next_end(self) -> int | None:
        """Return when the next frame has ended or a held turn goes on or ends; None for never.

        That of the next frame only holds until another is offered, whose turn may be before.
        """
        if self._held is not None:
            return self._after_burst(self._held)[0]
        return self._next()[3] if self._pending else None

    def advance(self, until: int) -> None:
        """Begin every frame whose turn opens at or before `until`."""
        while True:
            if self._held is not None:
                at, goes_on = self._after_burst(self._held)
                if at > until:
                    return
                self._continue(self._held, at, goes_on)
            elif self._pending:
                opens, turn, begin, end = self._next()
                if opens > until:
                    return
                self._begin(turn, begin, end)
            else:
                return

    def _next(self) -> tuple[int, int, int, int]:
        """Return when the next turn opens that is used, its number, and its frame's two ends.

        That stays until a frame is begun, or comes to an empty queue.
        """
        if self._plan is not None:
            return self._plan
        pending, turn, opens = self._pending, self._turn, self._turn_at
        ahead = pending >> turn
        if not ahead:
            ahead, opens = pending, opens + (self._count - turn) * self._to + self._beacon
            turn = 0
        skip = (ahead & -ahead).bit_length() - 1
        turn, opens = turn + skip, opens + skip * self._to
        came, wire, _ = self.queues[self._owner[turn]][0]
        begin = opens + self._gap
        if came >= self._quiet and opens - came <= self._delay_line:
            begin = max(opens, self._quiet + self._gap)
        self._plan = opens, turn, begin, begin + wire
        return self._plan

    def _begin(self, turn: int, begin: int, end: int) -> None:
        """Send the frame that waits for this turn."""
        who = self._owner[turn]
        queue, since = self.queues[who], self._since
        came, wire, thing = queue.popleft()
        waited_from = since[who]
        self.waits[who].add(begin - (came if came > waited_from else waited_from))
        since[who] = begin
        self._quiet = self._turn_at = end
        self.busy += wire
        self.ended.append((end, who, wire, thing))
        self._plan = None
        if not queue:
            self._pending ^= 1 << turn
        if self._bursts[who]:
            self._turn, self._held, self._burst = turn, who, 1
            self._held_until = end + self._holds[who]
        else:
            self._turn = turn + 1

    def _after_burst(self, who: int) -> tuple[int, bool]:
        """Return when a held turn goes on, and whether with one more frame."""
        queue = self.queues[who]
        if queue:
            begin = max(queue[0][0], self._quiet + self._gap)
            if begin <= self._held_until:
                return begin, True
        return self._held_until, False

    def _continue(self, who: int, at: int, goes_on: bool) -> None:
        """Send one more frame within a held turn, or give the turn up."""
        if goes_on:
            came, wire, thing = self.queues[who].popleft()
            self.waits[who].add(at - max(came, self._since[who]))
            self._since[who] = at
            self._quiet = at + wire
            self.busy += wire
            self.ended.append((self._quiet, who, wire, thing))
            if not self.queues[who]:
                self._pending &= ~(1 << self._turn)
            self._burst += 1
            self._held_until = self._quiet + self._holds[who]
            if self._burst <= self._bursts[who]:
                return
            at = self._quiet
        self._held = None
        self._turn, self._turn_at = self._turn + 1, at

    def _jump(self, at: int) -> None:
        """Go to the first turn that opens at or after `at`, over turns and cycles nobody uses."""
        begin = self._turn_at - self._turn * self._to
        cycles, into = divmod(at - begin, self._cycle)
        turn = -(-into // self._to)
        if turn >= self._count:
            cycles, turn = cycles + 1, 0
        self._turn, self._turn_at = turn, begin + cycles * self._cycle + turn * self._to
