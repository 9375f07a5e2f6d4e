"""What all meters share: hearing samples up to the end of a window, and the finding.

step begins        stimulus                      end
     ├── heard ──────┼──────── heard ──────────────┤ concluded one nanosecond later
"""

from collections.abc import Iterable

from hil.core.expectation import Figure, Finding
from hil.core.instant import Duration, Instant, show_duration
from hil.core.observation import Observation, Samples
from hil.core.plan import Expectation
from hil.core.scene import Scene
from hil.core.signal import Sample, Signal
from hil.core.verdict import Outcome

ENDLESS = float("inf")
"""The high end of a figure that has none."""


class Metering:
    """A meter that hears `paths` until `window` after the stimulus, and then concludes."""

    def __init__(
        self,
        scene: Scene,
        expectation: Expectation,
        signal: Signal,
        paths: Iterable[str],
        window: Duration,
    ) -> None:
        self.expectation = expectation
        self.signal = signal
        self.before: Sample | None = None
        self.finding: Finding | None = None
        self.seen = 0
        self._scene = scene
        self._paths = frozenset(paths)
        self._window = window
        self._start: Instant | None = None
        self._end = Instant(0)

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take in the samples it is about."""
        if self._start is not None and now > self._end:
            self.tick(now)
        if self.finding is None:
            self._hear(seen, now)

    def stimulated(self, at: Instant) -> None:
        """Learn that the stimulus left."""
        self._start, self._end = at, Instant(at + self._window)

    def tick(self, now: Instant) -> None:
        """Conclude when the window is over."""
        if self.finding is None and self._start is not None and now > self._end:
            self._conclude(self._start)

    def next_wakeup(self) -> Instant | None:
        """Return the end of the window."""
        if self.finding is not None or self._start is None:
            return None
        return Instant(self._end + 1)

    def take_sends(self) -> tuple[()]:
        """Return nothing: a meter only listens."""
        return ()

    def _hear(self, seen: Observation, now: Instant) -> None:
        if isinstance(seen, Samples):
            for sample in seen.samples:
                if sample.signal in self._paths and self.finding is None:
                    if self._start is not None:
                        self.seen += 1
                    self._take(sample, now)

    def _take(self, sample: Sample, now: Instant) -> None:
        """Take in one sample of what it is about."""

    def _conclude(self, start: Instant) -> None:
        """Decide at the end of the window."""
        raise NotImplementedError

    def _decide(
        self,
        outcome: Outcome,
        got: str,
        said: str,
        *,
        margin: float | None = None,
        figures: tuple[Figure, ...] = (),
        elapsed: int | None = None,
        decided: Sample | None = None,
    ) -> None:
        self.finding = Finding(
            outcome=outcome,
            why="measured",
            decided=decided,
            elapsed=None if elapsed is None else Duration(elapsed),
            change=None,
            margin=None if outcome is Outcome.INCONCLUSIVE else margin,
            gap=None,
            seen=self.seen,
            crossings=(),
            got=got,
            said=said,
            figures=figures,
        )


def show_between(first: float, last: float) -> str:
    """Render a time that lies between two, in nanoseconds: `212 ms to 222 ms`."""
    if last == ENDLESS:
        return f"more than {show_duration(Duration(int(first)))}"
    ends = [show_duration(Duration(int(end))) for end in (first, last)]
    return ends[0] if ends[0] == ends[1] else " to ".join(ends)


def show_figures(low: float, high: float, unit: str) -> str:
    """Render a figure that lies between two: `3.1 % to 3.5 %`."""
    if high == ENDLESS:
        return f"more than {low:.4g} {unit}".rstrip()
    ends = [f"{end:.4g} {unit}".rstrip() for end in (low, high)]
    return ends[0] if ends[0] == ends[1] else " to ".join(ends)


def doubt(outcome: Outcome) -> str:
    """Say why a figure is neither within its limit nor beyond it."""
    return ": the limit lies in between" if outcome is Outcome.INCONCLUSIVE else ""


def closed(high: float) -> float | None:
    """Return the high end of a figure as a journal holds it: None where there is none."""
    return None if high == ENDLESS else high
