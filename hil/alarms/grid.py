"""Counts: the values that a signal can take, and stretches of values.

A count is one step of the signal's resolution.  Counts are numbered from the value 0 where the
declared range contains whole counts from there, else from the low end of the range.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from hil.core.signal import EXACT, Signal, show_number


@dataclass(frozen=True, slots=True)
class Grid:
    """The counts of a signal: value = origin + count × step."""

    origin: Decimal
    step: Decimal

    def value(self, count: int) -> Decimal:
        """Return the exact value of a count."""
        return EXACT.add(self.origin, EXACT.multiply(Decimal(count), self.step))

    def floor(self, value: Decimal) -> int:
        """Return the last count at or below a value."""
        return (Fraction(value) - Fraction(self.origin)) // Fraction(self.step)

    def ceil(self, value: Decimal) -> int:
        """Return the first count at or above a value."""
        return -((Fraction(self.origin) - Fraction(value)) // Fraction(self.step))

    def meets(self, value: Decimal) -> bool:
        """Return whether a value is exactly a count."""
        return self.floor(value) == self.ceil(value)

    def show(self, value: Decimal, unit: str) -> str:
        """Render a value with its unit and, where it is one, its count."""
        text = f"{show_number(value)} {unit}".rstrip()
        return f"{text} (count {self.floor(value)})" if self.meets(value) else text


def grid_of(signal: Signal) -> Grid | None:
    """Return the counts of a signal; None where it declares no resolution."""
    step, low = signal.resolution, signal.low
    if step is None or step <= 0:
        return None
    from_zero = low is None or (Fraction(low) / Fraction(step)).denominator == 1
    return Grid(Decimal(0) if from_zero or low is None else low, step)


@dataclass(frozen=True, slots=True)
class Stretch:
    """The values from `low` to `high`, each end included or not."""

    low: Decimal
    high: Decimal
    low_included: bool
    high_included: bool

    @property
    def empty(self) -> bool:
        if self.low == self.high:
            return not (self.low_included and self.high_included)
        return self.low > self.high

    @property
    def width(self) -> Decimal:
        return EXACT.subtract(self.high, self.low)

    def counts(self, grid: Grid) -> range:
        """Return the counts within."""
        first, last = grid.ceil(self.low), grid.floor(self.high)
        if not self.low_included and grid.value(first) == self.low:
            first += 1
        if not self.high_included and grid.value(last) == self.high:
            last -= 1
        return range(first, last + 1)

    def example(self, grid: Grid | None) -> Decimal:
        """Return the count nearest to the middle, or the middle itself where there is no count."""
        counts = self.counts(grid) if grid is not None else range(0)
        if grid is not None and counts:
            return grid.value(counts[len(counts) // 2])
        return EXACT.divide(EXACT.add(self.low, self.high), Decimal(2))

    def meet(self, other: "Stretch") -> "Stretch":
        """Return what lies in both."""
        low, low_included = max(
            (self.low, not self.low_included), (other.low, not other.low_included)
        )
        high, high_included = min(
            (self.high, self.high_included), (other.high, other.high_included)
        )
        return Stretch(low, high, not low_included, high_included)
