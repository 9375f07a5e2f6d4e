"""Many deadlines, most of which move before they are reached.

A deadline that moves later is only written down; the heap learns of it when the old instant comes
to its top.  So moving one costs two dictionary look-ups, and the earliest is always exact.
"""

from heapq import heappop, heappush, heapreplace

from hil.core.instant import Instant

Key = tuple[str, str, int]
"""Whose deadline, what for, and which one of those."""


class Timers:
    """Deadlines by key; at one instant they come in the order in which they were first set."""

    __slots__ = ("_due", "_heap", "_queued", "_turn")

    def __init__(self) -> None:
        self._due: dict[Key, int] = {}
        self._queued: dict[Key, int] = {}
        self._heap: list[tuple[int, int, Key]] = []
        self._turn = 0

    def set(self, key: Key, at: int) -> None:
        """Let the deadline of `key` be `at`, whatever it was before."""
        self._due[key] = at
        queued = self._queued.get(key)
        if queued is None or at < queued:
            self._turn += 1
            self._queued[key] = at
            heappush(self._heap, (at, self._turn, key))

    def clear(self, key: Key) -> None:
        """Forget the deadline of `key`."""
        self._due.pop(key, None)

    def next(self) -> Instant | None:
        """Return the earliest deadline."""
        heap = self._heap
        while heap:
            at, turn, key = heap[0]
            due = self._due.get(key)
            if self._queued.get(key) != at or due is None:
                heappop(heap)
                if self._queued.get(key) == at:
                    del self._queued[key]
            elif due > at:
                self._queued[key] = due
                heapreplace(heap, (due, turn, key))
            else:
                return Instant(at)
        return None

    def take(self, now: int) -> tuple[Instant, Key] | None:
        """Take the earliest deadline that has come, and forget it."""
        at = self.next()
        if at is None or at > now:
            return None
        key = heappop(self._heap)[2]
        del self._due[key], self._queued[key]
        return at, key
