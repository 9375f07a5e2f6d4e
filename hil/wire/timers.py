"""Many deadlines, most of which move before they are reached.

A deadline belongs to its owner, who moves it by setting one number.  A deadline that moves later
is only written down; the heap learns of it when the old instant comes to its top.  So moving one
costs next to nothing, and the earliest is always exact.
"""

from collections.abc import Callable
from heapq import heappop, heappush, heapreplace

from hil.core.instant import Instant

Act = Callable[[Instant, Instant], None]
"""What is done when a deadline has come: called with the deadline, and with the present."""

NEVER = Instant(1 << 63)
"""Later than any instant of a run: 292 years."""


class Timer:
    """One deadline.  `due` is when it comes; NEVER while it is not set."""

    __slots__ = ("_timers", "act", "due", "queued")

    def __init__(self, timers: "Timers", act: Act) -> None:
        self._timers = timers
        self.act = act
        self.due: Instant = NEVER
        self.queued: Instant = NEVER
        """When the heap will look at it next; never later than `due`."""

    def set(self, at: Instant) -> None:
        """Let the deadline be `at`, whatever it was before."""
        self.due = at
        if at < self.queued:
            self._timers.queue(self)

    def clear(self) -> None:
        """Forget the deadline."""
        self.due = NEVER


class Timers:
    """The deadlines of many owners; those of one instant come in the order they were queued in."""

    __slots__ = ("_turn", "heap")

    def __init__(self) -> None:
        self.heap: list[tuple[Instant, int, Timer]] = []
        """Whom to look at, and when: its top is never later than the earliest deadline."""
        self._turn = 0

    def queue(self, timer: Timer) -> None:
        """Look at a timer no later than at its deadline."""
        self._turn += 1
        timer.queued = timer.due
        heappush(self.heap, (timer.due, self._turn, timer))

    def next(self) -> Instant | None:
        """Return the earliest deadline."""
        heap = self.heap
        while heap:
            at, turn, timer = heap[0]
            due = timer.due
            if due == at:
                return at
            if timer.queued != at:
                heappop(heap)  # it is queued earlier, too
            elif due == NEVER:
                heappop(heap)
                timer.queued = NEVER
            else:
                timer.queued = due
                heapreplace(heap, (due, turn, timer))
        return None

    def fire(self, now: Instant) -> bool:
        """Let the earliest timer whose deadline has come act; say whether there was one."""
        at = self.next()
        if at is None or at > now:
            return False
        timer = heappop(self.heap)[2]
        timer.due = timer.queued = NEVER
        timer.act(at, now)
        return True
