"""A time is an interval: from the first moment it can have been to the last.

Samples show a change only after it happened, so the moment of the change lies between the last
sample that did not show it and the first that did:

    value     o o o o . . . . x x x x
                    |---------|
                  first     last        `likely` is where a straight line between the two
                                        samples crosses

The bounds hold for a signal that does not come and go between two samples.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Span:
    """A time or a length of time in nanoseconds, between `first` and `last`, both possible."""

    first: int
    likely: int
    last: int

    def since(self, start: "Span") -> "Span":
        """Return how long this comes after `start`; negative where it can come before."""
        return Span(self.first - start.last, self.likely - start.likely, self.last - start.first)

    def at_least(self, least: int) -> "Span":
        """Return the span without what lies below `least`, which the caller knows cannot be."""
        return Span(max(self.first, least), max(self.likely, least), max(self.last, least))

    @property
    def width(self) -> int:
        """How much of it is unknown, in nanoseconds."""
        return self.last - self.first


@dataclass(frozen=True, slots=True)
class Range:
    """A number between `low` and `high`; `likely` is the best single figure."""

    low: float
    likely: float
    high: float


@dataclass(frozen=True, slots=True)
class Unmeasured:
    """What was recorded does not allow the measure; `why` is a phrase for the report."""

    why: str


def exactly(instant: int) -> Span:
    """Return the span of an instant that is known."""
    return Span(instant, instant, instant)
