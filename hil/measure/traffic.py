"""`traffic`: how the readings of a node arrive.

    loss              missing / (missing + received)               RFC 7680, from the numbers
    duplicates        extra copies / received                      RFC 5560
    reordering        reordered / received                         RFC 4737
    delay-variation   greatest |D(i) − D(i − 1)|                   RFC 3393 (IPDV)
    jitter            greatest J, J += (|D| − J) / 16              RFC 3550 6.4.1

A reading is lost when its number lies between two that came and it had not come by the end.  A
stamp shows whole ticks, so a difference of two delays may be off by one tick either way.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from hil.core.expectation import Figure
from hil.core.instant import Duration, Instant
from hil.core.meter import Meter
from hil.core.observation import Observation
from hil.core.plan import Expectation
from hil.core.scene import Scene
from hil.core.signal import Kind, Signal
from hil.core.verdict import Outcome
from hil.measure.bound import Bound
from hil.measure.delay import ipdv, jitter
from hil.measure.loss import missing_numbers
from hil.measure.metering import Metering, doubt, show_between, show_figures
from hil.measure.readings import Readings
from hil.measure.reordering import find_reordering
from hil.wire.rack import Node


class Metric(Enum):
    """What is measured, by its key."""

    LOSS = "loss"
    DUPLICATES = "duplicates"
    REORDERING = "reordering"
    DELAY_VARIATION = "delay-variation"
    JITTER = "jitter"

    @property
    def timed(self) -> bool:
        """Whether it is a time, which takes stamps; else a share in %, which takes numbers."""
        return self in (Metric.DELAY_VARIATION, Metric.JITTER)


@dataclass(frozen=True, slots=True, kw_only=True)
class Traffic:
    """One figure of one node's readings, and what it must be, over `window`."""

    node: Node
    metric: Metric
    bound: Bound
    window: Duration

    def begin(self, scene: Scene, expectation: Expectation, now: Instant) -> Sequence[Meter]:
        """Return the one meter."""
        return [TrafficMeter(self, scene, expectation)]


class TrafficMeter(Metering):
    """The machine for one figure; it answers for the node's readings as a whole."""

    def __init__(self, measure: Traffic, scene: Scene, expectation: Expectation) -> None:
        signal = Signal(node=measure.node.name, name="readings", kind=Kind.TEXT)
        super().__init__(scene, expectation, signal, (), measure.window)
        self._measure = measure
        self._readings = Readings(measure.node)

    def conclude(self, now: Instant) -> None:
        """Decide now, whatever the window."""
        if self.finding is None and self._start is not None:
            self._conclude(self._start)

    def _hear(self, seen: Observation, now: Instant) -> None:
        if self._start is not None and self._readings.receive(seen) is not None:
            self.seen += 1

    def _conclude(self, start: Instant) -> None:
        why = self._unusable()
        if why:
            said = f"cannot be counted: {why}, wanted {self.expectation.wanted}"
            self._decide(Outcome.INCONCLUSIVE, why, said)
            return
        low, likely, high = self._figure()
        bound, unit = self._measure.bound, "ns" if self._measure.metric.timed else "%"
        shown = show_between(low, high) if unit == "ns" else show_figures(low, high, unit)
        got = f"{self._measure.metric.value} {shown} of {len(self._readings.heard)} readings"
        outcome = bound.judge(low, high)
        self._decide(
            outcome,
            got,
            f"had {got}, wanted {bound.words}{doubt(outcome)}",
            margin=bound.margin(low, high),
            figures=(Figure(self._measure.metric.value, low, likely, high, unit),),
        )

    def _unusable(self) -> str:
        readings = self._readings
        if len(readings.heard) < 2:
            return f"{len(readings.heard)} readings came"
        if readings.rebooted:
            return "the node booted in between"
        if not readings.numbers():
            return "the readings carry no numbers"
        if self._measure.metric.timed and not readings.stamps():
            return "the readings carry no stamps"
        return ""

    def _figure(self) -> tuple[float, float, float]:
        numbers = self._readings.numbers()
        received = len(set(numbers))
        match self._measure.metric:
            case Metric.LOSS:
                lost = len(missing_numbers(numbers))
                return _share(Fraction(lost, lost + received))
            case Metric.DUPLICATES:
                return _share(Fraction(len(numbers) - received, received))
            case Metric.REORDERING:
                return _share(find_reordering(numbers).ratio)
            case Metric.DELAY_VARIATION:
                return self._time(max(map(abs, ipdv(self._delays(numbers))), default=0))
        return self._time(max(jitter(self._transits(numbers)), default=0))

    def _transits(self, numbers: list[int]) -> list[int]:
        """Return arrival less stamp of the first copy of each, in the order of arrival."""
        first: dict[int, int] = {}
        heard, stamps = self._readings.heard, self._readings.stamps()
        for number, reading, stamp in zip(numbers, heard, stamps, strict=True):
            first.setdefault(number, reading.arrival - stamp)
        return list(first.values())

    def _delays(self, numbers: list[int]) -> list[int | None]:
        """Return them by number, None for what is missing."""
        by_number = dict(zip(dict.fromkeys(numbers), self._transits(numbers), strict=True))
        return [by_number.get(n) for n in range(min(numbers), max(numbers) + 1)]

    def _time(self, time: float) -> tuple[float, float, float]:
        tick = self._readings.tick
        return max(0.0, time - tick), time, time + tick


def _share(share: Fraction) -> tuple[float, float, float]:
    percent = float(100 * share)
    return percent, percent, percent
