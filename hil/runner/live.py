"""Watching signals: a machine that keeps what a table of them shows, and judges nothing.

receive(samples)   the latest values, counted; band logic where alarm specs are given
receive(note)      what is odd about a node, the last few of it
tick               at the end of each period every course gets one entry more
done               somebody wants it to end, or `length` is over
"""

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from hil.alarms.spec import Spec
from hil.core.event import Event
from hil.core.instant import Duration, Instant, after, earliest
from hil.core.observation import Abort, NodeNote, NodeTrouble, Observation, Samples
from hil.core.signal import Signal
from hil.runner.banding import Banding
from hil.runner.course import Course

REMEMBERED = 5
"""So many remarks about nodes are kept."""


@dataclass(slots=True)
class Remark:
    """Something odd about a node: when it was last so, and how often in a row."""

    at: Instant
    node: str
    text: str
    times: int = 1


class Live:
    """Watches `signals` from `start`; `courses` has one entry for each, in their order."""

    def __init__(
        self,
        signals: Sequence[Signal],
        start: Instant,
        *,
        period: Duration,
        specs: Iterable[Spec] = (),
        length: Duration | None = None,
    ) -> None:
        self.start = start
        self.period = period
        self.courses = {signal.path: Course(signal, period) for signal in signals}
        self.banding = Banding(specs, self.courses, start)
        self.remarks: deque[Remark] = deque(maxlen=REMEMBERED)
        self.closed: dict[str, str] = {}
        self.done = False
        self._heeded = frozenset(self.courses) | self.banding.signals
        self._beat = after(start, period)
        self._end = None if length is None else after(start, length)

    def receive(self, seen: Observation, now: Instant) -> bool:
        """Take in what was observed; nothing ever follows but an end that somebody wants."""
        if isinstance(seen, Samples):
            self.closed.pop(seen.node, None)
            for sample in seen.of(self._heeded):
                course = self.courses.get(sample.signal)
                if course is not None:
                    course.take(sample)
                self.banding.take(sample, now)
        elif isinstance(seen, NodeNote):
            self._note(seen)
        elif isinstance(seen, Abort):
            self.done = True
        return self.done

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        while self._beat <= now and not self.done:
            at = self._beat
            self.banding.tick(at)
            for course in self.courses.values():
                course.beat()
            self._beat = after(at, self.period)
        if self._end is not None and now >= self._end:
            self.done = True

    def next_wakeup(self) -> Instant | None:
        """Return when the period, or all of it, is over."""
        return None if self.done else earliest(self._beat, self._end)

    def take_sends(self) -> tuple[()]:
        """Return nothing: the links do the asking."""
        return ()

    def take_events(self) -> list[Event]:
        """Return nothing: nobody keeps a journal of this."""
        return []

    def _note(self, note: NodeNote) -> None:
        if note.trouble is NodeTrouble.UNREACHABLE:
            self.closed[note.node] = note.text
        text = f"{note.trouble.value}, {note.text}"
        last = self.remarks[-1] if self.remarks else None
        if last is not None and (last.node, last.text) == (note.node, text):
            last.at, last.times = note.at, last.times + 1
        else:
            self.remarks.append(Remark(note.at, note.node, text))
