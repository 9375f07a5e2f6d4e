"""`settle`, `overshoot`, `undershoot`, `rise`, `delay`, `slew`: one figure of a step response.

The record runs from the beginning of the step to the end of the window.  Times count from the
stimulus (`from-step`), the levels being the value in force at the stimulus and the wanted value; or
they are those of IEEE 181 (`ieee-181`), between the two modes of the record's histogram.  Formulas
and sources stand in hil.measure.step_response.

Every time is an interval, from the last sample that did not show it to the first that did; where a
look takes time, from the beginning of the look.  The noise of the signal widens it further.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum

from hil.core.expectation import Figure
from hil.core.instant import Duration, Instant, show_duration
from hil.core.meter import Meter
from hil.core.plan import Expectation
from hil.core.scene import Scene
from hil.core.signal import Sample, Signal, Validity
from hil.core.verdict import Outcome
from hil.measure.bound import Bound
from hil.measure.excursion import overshoot, undershoot
from hil.measure.metering import ENDLESS, Metering, closed, doubt, show_between, show_figures
from hil.measure.span import Range, Span, Unmeasured
from hil.measure.step_response import StepResponse, Variant, from_step, ieee_181


class Quantity(Enum):
    """What is measured, by its key and in words."""

    SETTLING = "settle"
    OVERSHOOT = "overshoot"
    UNDERSHOOT = "undershoot"
    TRANSITION = "rise"
    DELAY = "delay"
    SLEW_RATE = "slew"

    @property
    def words(self) -> str:
        """The figure in words."""
        return _WORDS[self]


_WORDS = {
    Quantity.SETTLING: "settling time",
    Quantity.OVERSHOOT: "overshoot",
    Quantity.UNDERSHOOT: "undershoot",
    Quantity.TRANSITION: "10 % to 90 % transition duration",
    Quantity.DELAY: "delay to 50 %",
    Quantity.SLEW_RATE: "slew rate",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseMeasure:
    """One figure of a response, and what it must be.

    `bound` is in nanoseconds for times, in % of the step, or in the signal's unit per second;
    `target` and `half_width` are the wanted value and the settling band about it.
    """

    quantity: Quantity
    bound: Bound
    variant: Variant
    target: Decimal
    half_width: Decimal
    window: Duration

    def begin(self, scene: Scene, expectation: Expectation, now: Instant) -> Sequence[Meter]:
        """Return one meter for each signal."""
        return [
            ResponseMeter(self, scene, expectation, scene.signals[path])
            for path in expectation.signals
        ]


class ResponseMeter(Metering):
    """The machine for one signal."""

    def __init__(
        self, measure: ResponseMeasure, scene: Scene, expectation: Expectation, signal: Signal
    ) -> None:
        super().__init__(scene, expectation, signal, (signal.path,), measure.window)
        self._measure = measure
        self._times: list[int] = []
        self._values: list[Decimal] = []
        self._look = 0
        latest = scene.latest.get(signal.path)
        if latest is not None:
            self._record(latest)

    def _take(self, sample: Sample, now: Instant) -> None:
        if self._start is None:
            self._record(sample)
        elif sample.validity is Validity.STALE:
            self._give_up("its record has a hole: nothing was reported")
        elif sample.validity is Validity.INVALID:
            when = show_duration(Duration(sample.at - self._start))
            note = f" ({sample.note})" if sample.note else ""
            said = f"had no reading {when} after the stimulus{note}, wanted {self._wanted}"
            self._decide(Outcome.FAIL, f"sensor fault{note}", said, decided=sample)
        else:
            self._record(sample)

    def _record(self, sample: Sample) -> None:
        if sample.validity is not Validity.VALID or not isinstance(sample.value, Decimal):
            self._times, self._values = [], []
            return
        self._look = max(self._look, sample.at - sample.since)
        self._times.append(sample.at)
        self._values.append(sample.value)

    @property
    def _wanted(self) -> str:
        return f"{self.expectation.wanted}, {self._measure.variant.value} terms"

    def _give_up(self, why: str) -> None:
        said = f"cannot be measured: {why}, wanted {self._wanted}"
        self._decide(Outcome.INCONCLUSIVE, "not measured", said)

    def _conclude(self, start: Instant) -> None:
        if not self._times or self._times[0] > start:
            self._give_up("no value was seen before the stimulus")
            return
        if self._held:
            self._times.append(self._end)
            self._values.append(self._values[-1])
        found = self._respond(start)
        if isinstance(found, Unmeasured):
            self._give_up(found.why)
            return
        low, likely, high = self._figure(found, start)
        bound, quantity = self._measure.bound, self._measure.quantity
        unit = self._unit
        shown = show_between(low, high) if unit == "ns" else show_figures(low, high, unit)
        outcome = bound.judge(low, high)
        levels = f"{found.initial:.4g} to {found.final:.4g} {self.signal.unit}".rstrip()
        self._decide(
            outcome,
            f"{quantity.words} {shown}",
            f"measured: {quantity.words} {shown} ({found.variant.value} terms, {levels}), "
            f"wanted {bound.words}{doubt(outcome)}",
            margin=bound.margin(low, high),
            figures=(Figure(quantity.value, low, likely, closed(high), unit),),
        )

    def _respond(self, start: int) -> StepResponse | Unmeasured:
        measure, noise = self._measure, float(self.signal.noise)
        width = float(measure.half_width)
        if measure.variant is Variant.IEEE_181:
            return ieee_181(self._times, self._values, half_width=width, step=start, noise=noise)
        return from_step(
            self._times,
            self._values,
            step=start,
            half_width=width,
            final=float(measure.target),
            noise=noise,
        )

    @property
    def _unit(self) -> str:
        match self._measure.quantity:
            case Quantity.OVERSHOOT | Quantity.UNDERSHOOT:
                return "%"
            case Quantity.SLEW_RATE:
                return f"{self.signal.unit}/s"
        return "ns"

    def _figure(self, found: StepResponse, start: int) -> tuple[float, float, float]:
        match self._measure.quantity:
            case Quantity.SETTLING:
                least = max(0, found.last_outside or 0)
                ours = found.variant is Variant.IEEE_181
                return self._time(found.settling, least, between=ours)
            case Quantity.TRANSITION:
                return self._time(found.transition, self._end - found.proximal.last, between=True)
            case Quantity.DELAY:
                return self._time(found.delay, 0, between=False)
            case Quantity.OVERSHOOT:
                return self._share(overshoot(found, held=self._held, look=self._look))
            case Quantity.UNDERSHOOT:
                return self._share(undershoot(found, held=self._held, look=self._look))
        return self._rate(found.slew_rate, found.transition)

    def _time(self, span: Span | None, least: int, *, between: bool) -> tuple[float, float, float]:
        """Return a time as it can be; one that was not seen to end is longer than `least`.

        What a look shows was so at some moment of the look: the end of the time may be as much
        earlier, and `between` two looks its beginning as well.
        """
        if span is None:
            return max(0, least - self._look), least, ENDLESS
        last = span.last + self._look if between else span.last
        return max(0, span.first - self._look), span.likely, last

    def _rate(self, rate: Range | None, transition: Span | None) -> tuple[float, float, float]:
        if rate is None or transition is None:
            return 0.0, 0.0, ENDLESS
        shortest, longest = transition.first - self._look, transition.last + self._look
        low = rate.low * transition.last / longest if longest else rate.low
        high = rate.high * transition.first / shortest if shortest > 0 else ENDLESS
        return low, rate.likely, high

    @property
    def _held(self) -> bool:
        """Whether what it did not report has not changed, so that nothing lies between samples."""
        return self.signal.sampling is None

    def _share(self, share: Range) -> tuple[float, float, float]:
        return share.low, share.likely, share.high
