"""Driven profiles: what a signal is told to be, as an exact function of time.

    ramp        from one value to another, at a steady rate
    steps       a value held until the next
    recorded    points joined by straight lines
    sine        centre + amplitude · sin(360° · f·t + phase)
    chirp       the same with a frequency that rises steadily: turns f₀·t + (f₁ − f₀)·t²/2T

`at(t)` is the value t nanoseconds after the start.  Before its start a profile stands at its first
value, after its end at its last; a sine has no end.  Ramps, steps and points are exact decimals, to
50 digits; a sine's angle is exact and its sine has 15 digits.
"""

from bisect import bisect_right
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Protocol

from hil.core.instant import SECOND, Duration
from hil.core.signal import EXACT
from hil.measure.exact import wave

Points = tuple[tuple[Duration, Decimal], ...]


class Profile(Protocol):
    """A value for each moment."""

    def at(self, time: int) -> Decimal:
        """Return the value `time` nanoseconds after the start."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ramp:
    """From `first` to `last` in `duration`."""

    first: Decimal
    last: Decimal
    duration: Duration

    def __post_init__(self) -> None:
        _check_duration(self.duration)

    def at(self, time: int) -> Decimal:
        """Return the value `time` nanoseconds after the start."""
        passed = min(max(time, 0), self.duration)
        return _between(self.first, self.last, passed, self.duration)


@dataclass(frozen=True, slots=True)
class Steps:
    """Each value is held from its time until the next; times rise."""

    points: Points

    def __post_init__(self) -> None:
        _check_points(self.points)

    def at(self, time: int) -> Decimal:
        """Return the value `time` nanoseconds after the start."""
        place = bisect_right(self.points, time, key=lambda point: point[0])
        return self.points[max(0, place - 1)][1]


@dataclass(frozen=True, slots=True)
class Recorded:
    """Points joined by straight lines; times rise."""

    points: Points

    def __post_init__(self) -> None:
        _check_points(self.points)

    def at(self, time: int) -> Decimal:
        """Return the value `time` nanoseconds after the start."""
        place = bisect_right(self.points, time, key=lambda point: point[0])
        if place == 0 or place == len(self.points):
            return self.points[0 if place == 0 else -1][1]
        (begin, first), (end, last) = self.points[place - 1], self.points[place]
        return _between(first, last, time - begin, end - begin)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sine:
    """A sine of `frequency` hertz about `centre`; `phase` in degrees."""

    centre: Decimal
    amplitude: Decimal
    frequency: Decimal
    phase: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        if self.frequency <= 0:
            raise ValueError("a frequency is above 0")

    def at(self, time: int) -> Decimal:
        """Return the value `time` nanoseconds after the start."""
        turns, of = self.frequency.as_integer_ratio()
        degrees, parts = self.phase.as_integer_ratio()
        turns, of = turns * max(time, 0), of * SECOND
        swing = wave(turns * 360 * parts + degrees * of, 360 * parts * of)
        return EXACT.add(self.centre, EXACT.multiply(self.amplitude, swing))


@dataclass(frozen=True, slots=True, kw_only=True)
class Chirp:
    """A sine whose frequency goes from `first` to `last` hertz in `duration`."""

    centre: Decimal
    amplitude: Decimal
    first: Decimal
    last: Decimal
    duration: Duration

    def __post_init__(self) -> None:
        _check_duration(self.duration)
        if min(self.first, self.last) < 0 or max(self.first, self.last) <= 0:
            raise ValueError("a frequency is above 0")

    def at(self, time: int) -> Decimal:
        """Return the value `time` nanoseconds after the start."""
        moment = min(max(time, 0), self.duration)
        first, parts = self.first.as_integer_ratio()
        last, others = self.last.as_integer_ratio()
        first, last, parts = first * others, last * parts, parts * others
        turns = moment * (2 * first * self.duration + (last - first) * moment)
        swing = wave(turns, 2 * parts * self.duration * SECOND)
        return EXACT.add(self.centre, EXACT.multiply(self.amplitude, swing))


def _between(first: Decimal, last: Decimal, passed: int, whole: int) -> Decimal:
    rise = EXACT.multiply(EXACT.subtract(last, first), Decimal(passed))
    return EXACT.add(first, EXACT.divide(rise, Decimal(whole)))


def _check_duration(duration: Duration) -> None:
    if duration <= 0:
        raise ValueError("a profile takes longer than nothing")


def _check_points(points: Points) -> None:
    if not points:
        raise ValueError("a profile has at least one point")
    times = [time for time, _ in points]
    if any(after <= before for before, after in pairwise(times)):
        raise ValueError("the times of a profile rise")
