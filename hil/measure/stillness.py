"""`others`: nothing but what should have moved did.

Watched is every signal that the step does not name and that the bench file does not declare
dependent on what the step drives.  Each must stay, throughout the window, as it was at the
stimulus: a number within twice its noise (the value at the stimulus may be off by the noise one
way, a later one by as much the other way), a label or a text exactly, a sensor fault a fault.

A crossed cable or a swapped identity shows as one signal that moved and one that should have.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from hil.core.condition import show_got
from hil.core.instant import Duration, Instant, show_duration
from hil.core.meter import Meter
from hil.core.plan import Expectation
from hil.core.scene import Scene
from hil.core.signal import Sample, Signal, Validity, show_value
from hil.core.verdict import Outcome
from hil.measure.metering import Metering

_TOLD = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Stillness:
    """`moved` should move, `watched` must not, from `opens` to `closes` after the stimulus."""

    moved: tuple[str, ...]
    watched: tuple[str, ...]
    opens: Duration
    closes: Duration

    def begin(self, scene: Scene, expectation: Expectation, now: Instant) -> Sequence[Meter]:
        """Return the one meter over all of them."""
        return [StillnessMeter(self, scene, expectation)]


class StillnessMeter(Metering):
    """The machine over all other signals; it answers for the signal that should have moved."""

    def __init__(self, measure: Stillness, scene: Scene, expectation: Expectation) -> None:
        first = scene.signals[(measure.moved or measure.watched)[0]]
        paths = (*measure.moved, *measure.watched)
        super().__init__(scene, expectation, first, paths, measure.closes)
        self._measure = measure
        self._baseline: dict[str, Sample] = {}
        self._in_force: dict[str, Sample] = {}
        self._looked: set[str] = set()
        self._strayed: dict[str, Sample] = {}
        self._stale: dict[str, Sample] = {}
        self._stirred: set[str] = set()
        self._closest = 1.0

    def stimulated(self, at: Instant) -> None:
        """Take down how everything is at the stimulus."""
        super().stimulated(at)
        latest = self._scene.latest
        self._baseline = {path: latest[path] for path in self._paths if path in latest}
        self._in_force = dict(self._baseline)

    def _take(self, sample: Sample, now: Instant) -> None:
        if self._start is None or sample.since < self._start:
            return
        path = sample.signal
        if sample.at < self._start + self._measure.opens:
            self._in_force[path] = sample
            return
        self._weigh(path, sample)

    def _weigh(self, path: str, sample: Sample) -> None:
        """Compare a sample from inside the window with how the signal was."""
        if sample.validity is Validity.STALE:
            self._stale.setdefault(path, sample)
            return
        self._looked.add(path)
        before = self._baseline.get(path)
        if before is None or before.validity is Validity.STALE:
            return
        room = _room(before, sample, self._scene.signals[path])
        if room is not None and room < 0:
            self._stirred.add(path)
            if path not in self._measure.moved:
                self._strayed.setdefault(path, sample)
        elif room is not None and path not in self._measure.moved:
            self._closest = min(self._closest, room)

    def _conclude(self, start: Instant) -> None:
        for path, sample in self._in_force.items():
            if self._scene.signals[path].sampling is None and self._measure.opens:
                self._weigh(path, sample)
        if self._strayed:
            self._blame(start)
            return
        path, unsure = self._unsure()
        count = len(self._measure.watched)
        span = show_duration(Duration(self._measure.closes - self._measure.opens))
        if unsure:
            self.signal = self._scene.signals[path]
            unsure = f"{path} {unsure}"
            said = f"leaves it open whether {count} others stayed as they were for {span}: {unsure}"
            self._decide(Outcome.INCONCLUSIVE, unsure, said)
            return
        said = f"and what depends on it moved alone: {count} others stayed as they were for {span}"
        self._decide(Outcome.PASS, f"{count} others unchanged", said, margin=self._closest)

    def _unsure(self) -> tuple[str, str]:
        """Return the first signal that leaves a doubt, and why."""
        for path in self._measure.watched:
            signal = self._scene.signals[path]
            if path in self._stale:
                return path, "went stale"
            if path not in self._baseline or self._baseline[path].validity is Validity.STALE:
                return path, "was not seen before the stimulus"
            if signal.sampling is not None and path not in self._looked:
                return path, "was not looked at"
        return "", ""

    def _blame(self, start: Instant) -> None:
        first = min(self._strayed.values(), key=lambda sample: (sample.at, sample.signal))
        self.signal = self._scene.signals[first.signal]
        others = sorted(path for path in self._strayed if path != first.signal)
        more = f"; so did {_listed(others)}" if others else ""
        should = self._measure.moved
        wanted = f"only {_listed(should)} should have moved" if should else "nothing should have"
        still = [path for path in should if path not in self._stirred]
        if should and still:
            wanted += f", and {_listed(still)} did not"
        after = Duration(max(0, first.at - start))
        got = show_got(first, self.signal)
        said = (
            f"moved from {show_got(self._baseline[first.signal], self.signal)} to {got}"
            f"{_band(self.signal)}, {show_duration(after)} after the stimulus, but {wanted}{more}"
        )
        margin = _room(self._baseline[first.signal], first, self.signal)
        self._decide(Outcome.FAIL, got, said, margin=margin, elapsed=after, decided=first)


def _room(before: Sample, sample: Sample, signal: Signal) -> float | None:
    """Return how much of the noise band is left: 1 none used, negative beyond; None exactly so."""
    if before.validity is not sample.validity:
        return -1.0
    if before.value == sample.value or sample.validity is not Validity.VALID:
        return None
    band = 2 * signal.noise
    if not isinstance(before.value, Decimal) or not isinstance(sample.value, Decimal) or not band:
        return -1.0
    return float(1 - abs(sample.value - before.value) / band)


def _band(signal: Signal) -> str:
    if not signal.noise:
        return ""
    return f", beyond the {show_value(2 * signal.noise, signal)} it may wander by"


def _listed(paths: Sequence[str]) -> str:
    shown = ", ".join(paths[:_TOLD])
    return f"{shown} and {len(paths) - _TOLD} more" if len(paths) > _TOLD else shown
