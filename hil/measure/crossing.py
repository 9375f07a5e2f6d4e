"""Where a record passes a level, as spans.

A record is first put on the scale 0 (initial level) to 1 (final level), so that every transition
rises.  `noise` is the half-width, on the same scale, by which a single sample may be off:

    height  level + noise ┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄o   first sample that is above for certain
                    level ┄┄┄┄┄┄┄┄┄┄┄o┄┄┄
            level − noise ┄┄┄┄┄┄┄o┄┄┄┄┄┄┄    first sample that can be above
                             o               the passage is after this one
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from hil.measure.span import Span, Unmeasured

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Shape:
    """A record on the scale 0 (initial level) to 1 (final level); `noise` on the same scale."""

    times: "NDArray[np.int64]"
    heights: "NDArray[np.float64]"
    initial: float
    final: float
    noise: float


def scaled(
    times: "NDArray[np.int64]",
    values: "NDArray[np.float64]",
    initial: float,
    final: float,
    noise: float,
) -> Shape | Unmeasured:
    """Put a record on that scale; ValueError where the noise is negative."""
    size = final - initial
    if noise < 0:
        raise ValueError("noise is a half-width and cannot be negative")
    if abs(size) <= 2 * noise or not abs(size) > 0:
        return Unmeasured("the step is no larger than the noise")
    return Shape(times, (values - initial) / size, initial, final, noise / abs(size))


@dataclass(frozen=True, slots=True)
class Passage:
    """When a level was passed; samples from `possible` on can, from `certain` on do lie above."""

    span: Span
    possible: int
    certain: int


def first_up(shape: Shape, level: float, begin: int) -> Passage | None:
    """Return when the level was first reached from sample `begin` on."""
    heights = shape.heights[begin:]
    certain = _first_true(heights >= level + shape.noise)
    if certain is None:
        return None
    possible = likely = certain
    if shape.noise:
        possible = int((heights >= level - shape.noise).argmax())
        likely = int((heights >= level).argmax())
    span = Span(
        int(shape.times[max(0, begin + possible - 1)]),
        _crossing(shape, begin + likely, level),
        int(shape.times[begin + certain]),
    )
    return Passage(span, begin + possible, begin + certain)


def last_up(shape: Shape, level: float, before: Passage) -> Span | None:
    """Return when the level was last passed upwards before the passage of a higher one."""
    below = _last_true(shape.heights[: before.possible] < level - shape.noise)
    if below is None:
        return None
    above = likely = below
    if shape.noise:
        heights = shape.heights[: before.certain]
        above = max(below, _last_true(heights < level + shape.noise) or 0)
        likely = max(below, _last_true(heights < level) or 0)
    crossing = _crossing(shape, likely + 1, level)
    return Span(int(shape.times[below]), crossing, int(shape.times[above + 1]))


def settled(shape: Shape, band: float, origin: Span) -> tuple[Span | None, int | None]:
    """Return how long after `origin` the band was entered for good, and the last time outside.

    The first is None where the record does not show it; the second, of the last sample that was
    outside for certain, is None where there is none.
    """
    import numpy as np

    distance = np.abs(shape.heights - 1)
    outside = _last_true(distance > band + shape.noise)
    maybe = likely = outside
    if shape.noise:
        maybe = _last_true(distance > band - shape.noise)
        likely = _last_true(distance > band)
    last_outside = None if outside is None else int(shape.times[outside]) - origin.likely
    if maybe is None:
        return Span(0, 0, 0), last_outside
    if maybe + 1 >= shape.times.size:
        return None, last_outside
    likely = maybe if likely is None else likely
    edge = 1 + band if shape.heights[likely] > 1 else 1 - band
    inside = Span(
        int(shape.times[0 if outside is None else outside]),
        _crossing(shape, likely + 1, edge),
        int(shape.times[maybe + 1]),
    )
    return inside.since(origin).at_least(0), last_outside


def _crossing(shape: Shape, index: int, level: float) -> int:
    """Return where the line between sample `index` and the one before it meets the level."""
    if index == 0:
        return int(shape.times[0])
    before, after = int(shape.times[index - 1]), int(shape.times[index])
    low, high = float(shape.heights[index - 1]), float(shape.heights[index])
    if low == high:
        return after
    share = min(1.0, max(0.0, (level - low) / (high - low)))
    return before + round((after - before) * share)


def _first_true(flags: "NDArray[np.bool_]") -> int | None:
    place = int(flags.argmax()) if flags.size else 0
    return place if flags.size and flags[place] else None


def _last_true(flags: "NDArray[np.bool_]") -> int | None:
    if not flags.size:
        return None
    place = int(flags[::-1].argmax())
    return flags.size - 1 - place if flags[flags.size - 1 - place] else None
