"""Driven profiles: what a signal is told to be, as an exact function of time.

    ramp        from one value to another, at a steady rate
    steps       a value held until the next
    recorded    points joined by straight lines
    sine        centre + amplitude · sin(360° · f·t + phase)
    chirp       the same with a frequency that rises steadily: turns f₀·t + (f₁ − f₀)·t²/2T

`at(t)` is the value t nanoseconds after the start.  Before its start a profile stands at its first
value, after its end at its last; a sine has no end.  Ramps, steps and points are exact fractions;
a sine's angle is exact and its sine has 15 digits.  Decimals are to 50 digits.
"""

from bisect import bisect_right
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Protocol

from hil.core.instant import SECOND, Duration
from hil.measure.exact import as_decimal, sine

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
        share = Fraction(min(max(time, 0), self.duration), self.duration)
        first, last = Fraction(self.first), Fraction(self.last)
        return as_decimal(first + (last - first) * share)


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
        share = Fraction(time - begin, end - begin)
        return as_decimal(Fraction(first) + (Fraction(last) - Fraction(first)) * share)


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
        turns = Fraction(self.frequency) * Fraction(max(time, 0), SECOND)
        wave = sine(360 * turns + Fraction(self.phase))
        return as_decimal(Fraction(self.centre) + Fraction(self.amplitude) * wave)


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
        seconds = Fraction(min(max(time, 0), self.duration), SECOND)
        rate = (Fraction(self.last) - Fraction(self.first)) / Fraction(self.duration, SECOND)
        turns = Fraction(self.first) * seconds + rate * seconds * seconds / 2
        wave = sine(360 * turns)
        return as_decimal(Fraction(self.centre) + Fraction(self.amplitude) * wave)


def _check_duration(duration: Duration) -> None:
    if duration <= 0:
        raise ValueError("a profile takes longer than nothing")


def _check_points(points: Points) -> None:
    if not points:
        raise ValueError("a profile has at least one point")
    times = [time for time, _ in points]
    if any(after <= before for before, after in pairwise(times)):
        raise ValueError("the times of a profile rise")
