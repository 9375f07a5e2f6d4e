"""How a step was followed: two sets of terms, and which one is always stated.

    level  high ┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄╭─╮┄┄┄┄┄┄┄┄┄┄┄  ↕ overshoot, in % of high − low
           90 % ┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄╱┄┄┄╰──╯╰──────  distal
           50 % ┄┄┄┄┄┄┄┄┄┄┄┄┄┄╱┄                mesial
           10 % ┄┄┄┄┄┄┄┄┄┄┄┄┄╱┄┄                proximal
            low ─────┬───────╯
                    step     |--| transition duration, 10 % to 90 %

    term         IEEE 181                              control engineering
    levels       modes of the histogram                value at the step, value it ends at
    transition   10 % to 90 %                          10 % to 90 % (rise time)
    delay        step to the 50 % instant              the same
    settling     from the 50 % instant                 from the step
                 to the last entry into the band       the same
    overshoot    beyond the level after the step       the same
    undershoot   opposite, after the overshoot's peak  beyond the first level, the wrong way
    slew rate    80 % of the difference / transition   the same

Sources: IEEE Std 181-2011 (terms from memory); Ogata, Modern Control Engineering, transient
response specifications (from memory).

Several crossings of one level: the 50 % instant is the first; 10 % is the last before it, 90 % the
first after it.  `noise` is the half-width by which a single sample may be off; it widens spans.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum
from typing import TYPE_CHECKING

from hil.measure.crossing import Shape, first_up, last_up, scaled, settled
from hil.measure.record import read_record
from hil.measure.span import Range, Span, Unmeasured, exactly
from hil.measure.state_level import last_level, state_levels

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_PROXIMAL, _MESIAL, _DISTAL = 0.1, 0.5, 0.9


class Variant(Enum):
    """Which set of terms a result is in."""

    IEEE_181 = "IEEE 181"
    CONTROL = "control engineering"


@dataclass(frozen=True, slots=True, kw_only=True)
class StepResponse:
    """What one step did.

    `proximal`, `mesial`, `distal` and `peak` are instants on the record's own time; the others are
    lengths.  `reach` is from the step (IEEE 181: from the 50 % instant) to the final level's first
    passage.  None: it did not happen in the record.  `settling` is None where the response was not
    shown to have settled; `last_outside`, on the same scale, is the last sample that was outside
    the band for certain.  `overshoot` and `undershoot` are in % of the step, as sampled (for what
    lies between samples see hil.measure.excursion), `slew_rate` in units of the values per second.
    `shape` is the record, `rising` a sample shortly before it can have come half-way, and `top` its
    highest sample after that.
    """

    variant: Variant
    initial: float
    final: float
    proximal: Span
    mesial: Span
    distal: Span | None
    transition: Span | None
    delay: Span | None
    reach: Span | None
    settling: Span | None
    last_outside: int | None
    overshoot: float
    undershoot: float
    peak: Span
    slew_rate: Range | None
    step: int | None
    shape: Shape = field(repr=False)
    rising: int
    top: int


def ieee_181(
    times: "Sequence[int] | NDArray[np.int64]",
    values: "Sequence[float] | Sequence[Decimal] | NDArray[np.float64]",
    *,
    band: float = 0.02,
    half_width: float | None = None,
    levels: tuple[float, float] | None = None,
    step: int | None = None,
    noise: float = 0.0,
) -> StepResponse | Unmeasured:
    """Measure the first transition of a record in IEEE 181 terms.

    The record must show both states for a while.  `levels` (low, high) replaces the histogram;
    the band is a fraction of their difference, or an absolute `half_width`.  `step` is when the
    stimulus was, for the delay.  Raises ValueError on a record or a band that makes no sense.
    """
    instants, numbers = read_record(times, values)
    found = levels if levels is not None else state_levels(instants, numbers)
    if found is None:
        return Unmeasured("the record shows one level only")
    low, high = found
    rising = bool(numbers[0] - low < high - numbers[0]) if numbers.size else True
    initial, final = (low, high) if rising else (high, low)
    shape = scaled(instants, numbers, initial, final, noise)
    if isinstance(shape, Unmeasured):
        return shape
    return _measure(shape, Variant.IEEE_181, _band(shape, band, half_width), step)


def from_step(
    times: "Sequence[int] | NDArray[np.int64]",
    values: "Sequence[float] | Sequence[Decimal] | NDArray[np.float64]",
    *,
    step: int,
    band: float = 0.02,
    half_width: float | None = None,
    initial: float | None = None,
    final: float | None = None,
    noise: float = 0.0,
) -> StepResponse | Unmeasured:
    """Measure a record in the control engineer's terms: times count from the step.

    `initial` is the value in force at the step unless given, `final` the mean over the last tenth
    of the record; give the target as `final` to measure against it.  Raises ValueError on a record
    or a band that makes no sense.
    """
    import numpy as np

    instants, numbers = read_record(times, values)
    begin = max(0, int(np.searchsorted(instants, step, side="right")) - 1)
    instants, numbers = instants[begin:], numbers[begin:]
    if numbers.size < 2:
        return Unmeasured("fewer than two samples from the step on")
    first = float(numbers[0]) if initial is None else initial
    last = last_level(instants, numbers) if final is None else final
    shape = scaled(instants, numbers, first, last, noise)
    if isinstance(shape, Unmeasured):
        return shape
    return _measure(shape, Variant.CONTROL, _band(shape, band, half_width), step)


def _band(shape: Shape, fraction: float, half_width: float | None) -> float:
    size = abs(shape.final - shape.initial)
    band = fraction if half_width is None else half_width / size
    if not band > 0:
        raise ValueError("a settling band has a width above 0")
    return band


def _measure(
    shape: Shape, variant: Variant, band: float, step: int | None
) -> StepResponse | Unmeasured:
    mesial = first_up(shape, _MESIAL, 0)
    if mesial is None:
        return Unmeasured("the response never came half-way")
    proximal = last_up(shape, _PROXIMAL, mesial)
    if proximal is None:
        return Unmeasured("the record begins after the response did")
    distal = first_up(shape, _DISTAL, mesial.possible)
    full = first_up(shape, 1.0, mesial.possible)
    transition = None if distal is None else distal.span.since(proximal).at_least(0)
    origin = mesial.span if variant is Variant.IEEE_181 or step is None else exactly(step)
    settling, last_outside = settled(shape, band, origin)
    top = mesial.possible + int(shape.heights[mesial.possible :].argmax())
    return StepResponse(
        variant=variant,
        initial=shape.initial,
        final=shape.final,
        proximal=proximal,
        mesial=mesial.span,
        distal=None if distal is None else distal.span,
        transition=transition,
        delay=None if step is None else mesial.span.since(exactly(step)).at_least(0),
        reach=None if full is None else full.span.since(origin).at_least(0),
        settling=settling,
        last_outside=last_outside,
        overshoot=100 * max(0.0, float(shape.heights[top]) - 1),
        undershoot=_undershoot(shape, variant, top),
        peak=_around(shape.times, top),
        slew_rate=None if transition is None else _slew_rate(shape, transition),
        step=step,
        shape=shape,
        rising=max(0, mesial.possible - 3),
        top=top,
    )


def _undershoot(shape: Shape, variant: Variant, top: int) -> float:
    if variant is Variant.CONTROL:
        return 100 * max(0.0, -float(shape.heights.min()))
    if shape.heights[top] <= 1:
        return 0.0
    return 100 * max(0.0, 1 - float(shape.heights[top:].min()))


def _around(times: "NDArray[np.int64]", index: int) -> Span:
    last = int(times[min(index + 1, times.size - 1)])
    return Span(int(times[max(0, index - 1)]), int(times[index]), last)


def _slew_rate(shape: Shape, transition: Span) -> Range:
    rise = (_DISTAL - _PROXIMAL) * abs(shape.final - shape.initial) * 1e9
    slow, likely, fast = (
        rise / time if time > 0 else float("inf")
        for time in (transition.last, transition.likely, transition.first)
    )
    return Range(slow, likely, fast)
