"""`agree`: the same thing shown in several places, whichever changes first.

From the stimulus to the end of the window every change of every signal is taken down; after each the
signals may differ for so long and no longer.  How long they did is the skew, an interval where a
signal is known only at its looks.  The rule stands in hil.measure.agreement.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from hil.core.expectation import Figure
from hil.core.instant import Duration, Instant, show_duration
from hil.core.meter import Meter
from hil.core.plan import Expectation
from hil.core.scene import Scene
from hil.core.signal import Sample, Signal, Validity, Value, show_value
from hil.core.verdict import Outcome
from hil.measure.agreement import Agreement, Change, Disagreement, agreement
from hil.measure.metering import Metering, show_between


@dataclass(frozen=True, slots=True, kw_only=True)
class Showing:
    """The signals, how long they may differ, how far numbers may be apart, and the window."""

    signals: tuple[str, ...]
    within: Duration
    tolerance: Decimal
    window: Duration

    def begin(self, scene: Scene, expectation: Expectation, now: Instant) -> Sequence[Meter]:
        """Return the one meter."""
        return [ShowingMeter(self, scene, expectation)]


class ShowingMeter(Metering):
    """The machine over all of them; where they did not agree, the one that came last answers."""

    def __init__(self, measure: Showing, scene: Scene, expectation: Expectation) -> None:
        first = scene.signals[measure.signals[0]]
        super().__init__(scene, expectation, first, measure.signals, measure.window)
        self._measure = measure
        self._changes: dict[str, list[Change]] = {}
        self._looks: dict[str, int] = {}
        self._stale = ""

    def stimulated(self, at: Instant) -> None:
        """Begin with what each shows."""
        super().stimulated(at)
        for path in self._measure.signals:
            sample = self._scene.latest.get(path)
            if sample is not None and sample.validity is not Validity.STALE:
                self._changes[path] = [Change(at, at, _shown(sample))]
                self._looks[path] = at

    def _take(self, sample: Sample, now: Instant) -> None:
        if self._start is None or sample.since < self._start:
            return
        path = sample.signal
        if sample.validity is Validity.STALE:
            self._stale = self._stale or path
            return
        changes = self._changes.setdefault(path, [])
        value = _shown(sample)
        if not changes or changes[-1].value != value:
            sampled = self._scene.signals[path].sampling is not None
            since = self._looks.get(path, sample.since) if sampled else sample.at
            changes.append(Change(since, sample.at, value))
        self._looks[path] = sample.since

    def _conclude(self, start: Instant) -> None:
        unseen = [path for path in self._measure.signals if path not in self._changes]
        if unseen or self._stale:
            why = f"{unseen[0]} was not seen" if unseen else f"{self._stale} went stale"
            self.signal = self._scene.signals[unseen[0] if unseen else self._stale]
            said = f"cannot be compared: {why}, wanted {self._wanted}"
            self._decide(Outcome.INCONCLUSIVE, why, said)
            return
        found = agreement(
            self._changes,
            within=self._measure.within,
            until=self._end,
            tolerance=self._measure.tolerance,
        )
        self._tell(found, start)

    @property
    def _wanted(self) -> str:
        return f"{self.expectation.wanted} {self.expectation.when}"

    def _tell(self, found: Agreement, start: Instant) -> None:
        worst = found.worst
        if worst is None:
            moved = sum(len(changes) - 1 for changes in self._changes.values())
            got = "never differed" if moved else "never changed"
            said = f"and the others {got}, wanted {self._wanted}"
            self._decide(found.outcome, got, said, margin=1.0)
            return
        if found.outcome is not Outcome.PASS:
            self.signal = self._scene.signals[worst.last if worst.ended else _odd_one(worst)]
        skew = worst.skew
        longest = show_between(skew.first, skew.last)
        got = f"differed for {longest}" if worst.ended else f"differed for {longest} and more"
        self._decide(
            found.outcome,
            got,
            f"{self._story(worst, longest)} {show_duration(Duration(worst.begin - start))} after "
            f"the stimulus, wanted {self._wanted}",
            margin=found.margin,
            figures=(Figure("skew", skew.first, skew.likely, skew.last, "ns"),),
            elapsed=worst.begin - start,
        )

    def _story(self, worst: Disagreement, longest: str) -> str:
        shown = ", ".join(f"{path} {self._show(path, value)}" for path, value in worst.shown)
        if worst.ended:
            first = worst.leader or "the beginning"
            last = "" if self.signal.path == worst.last else f", {worst.last} last"
            whole = "and the others " if last else ""
            return f"{whole}agreed {longest} after {first}{last}, the longest skew ({shown}),"
        return f"still differed at the end, for {longest} ({shown}), from"

    def _show(self, path: str, value: Value | None) -> str:
        signal: Signal = self._scene.signals[path]
        return show_value(value, signal)


def _shown(sample: Sample) -> Value | None:
    return sample.value if sample.validity is Validity.VALID else None


def _odd_one(part: Disagreement) -> str:
    """Return the signal whose value fewest others show; of several, one that did not lead."""
    values = [value for _, value in part.shown]
    odd = min(part.shown, key=lambda entry: (values.count(entry[1]), entry[0] == part.leader))
    return odd[0]
