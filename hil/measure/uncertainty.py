"""How sure a reading is: accuracy, resolution and stimulus → standard and expanded uncertainty.

    contribution                       half-width a                  standard uncertainty u
    accuracy (of reading, of range,    ±(sum of the four parts)      a / √3       JCGM 100 (GUM) 4.3.7
      counts, fixed)
    resolution δ                       δ / 2                         δ / √12      GUM F.2.2.1
    stimulus, as a half-width          a                             a / √3       GUM 4.3.7
    stimulus, as its own U and k                                     U / k        GUM 4.3.3

    combined   u = √(Σ u²)   uncorrelated, GUM 5.1.2          expanded   U = k · u   GUM 6.2.1

A manufacturer's "±" without more is taken as certain limits with every value between them equally
likely (GUM 4.3.7).  Arithmetic is in exact decimals up to the square root.
Clause numbers from memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from hil.core.signal import EXACT, Accuracy

COVERAGE = Decimal(2)
"""The usual coverage factor k, for about 95 % (GUM 6.3.3)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncertainty:
    """A standard uncertainty and the expanded one, U = k · u, in the signal's unit."""

    standard: Decimal
    coverage: Decimal = COVERAGE

    @property
    def expanded(self) -> Decimal:
        """U, the coverage factor times the standard uncertainty."""
        return EXACT.multiply(self.coverage, self.standard)


def accuracy_limit(
    accuracy: Accuracy,
    reading: Decimal,
    *,
    low: Decimal | None = None,
    high: Decimal | None = None,
    resolution: Decimal | None = None,
) -> Decimal:
    """Return the half-width of an accuracy statement at a reading.

    Raises ValueError where a part needs a range or a resolution that is not there.
    """
    total = EXACT.add(accuracy.fixed, EXACT.multiply(accuracy.of_reading, abs(reading)))
    if accuracy.of_range:
        if low is None or high is None:
            raise ValueError("an accuracy of range needs the signal's range")
        total = EXACT.add(total, EXACT.multiply(accuracy.of_range, EXACT.subtract(high, low)))
    if accuracy.counts:
        if resolution is None:
            raise ValueError("an accuracy in counts needs the signal's resolution")
        total = EXACT.add(total, EXACT.multiply(accuracy.counts, resolution))
    return total


def from_limit(half_width: Decimal) -> Decimal:
    """Return the standard uncertainty of a value that lies within ±half_width: a / √3."""
    if half_width < 0:
        raise ValueError("a half-width cannot be negative")
    return EXACT.divide(half_width, EXACT.sqrt(Decimal(3)))


def from_resolution(resolution: Decimal) -> Decimal:
    """Return the standard uncertainty of reading a display in steps of `resolution`: δ / √12."""
    return from_limit(EXACT.divide(resolution, Decimal(2)))


def from_expanded(expanded: Decimal, coverage: Decimal = COVERAGE) -> Decimal:
    """Return the standard uncertainty behind a stated U: U / k."""
    if expanded < 0 or coverage <= 0:
        raise ValueError("U cannot be negative, k must be above 0")
    return EXACT.divide(expanded, coverage)


def combined(parts: Sequence[Decimal], coverage: Decimal = COVERAGE) -> Uncertainty:
    """Combine uncorrelated standard uncertainties: u = √(Σ u²)."""
    if coverage <= 0:
        raise ValueError("k must be above 0")
    squares = Decimal(0)
    for part in parts:
        squares = EXACT.add(squares, EXACT.multiply(part, part))
    return Uncertainty(standard=EXACT.sqrt(squares), coverage=coverage)


def reading_uncertainty(
    reading: Decimal,
    *,
    accuracy: Accuracy | None = None,
    low: Decimal | None = None,
    high: Decimal | None = None,
    resolution: Decimal | None = None,
    stimulus: Decimal = Decimal(0),
    coverage: Decimal = COVERAGE,
) -> Uncertainty:
    """Return the uncertainty of one reading of a signal.

    `resolution` is one count of the signal, `stimulus` the standard uncertainty of what was
    imposed on it.  Raises ValueError like `accuracy_limit`.
    """
    parts = [stimulus]
    if accuracy is not None:
        half_width = accuracy_limit(accuracy, reading, low=low, high=high, resolution=resolution)
        parts.append(from_limit(half_width))
    if resolution is not None:
        parts.append(from_resolution(resolution))
    return combined(parts, coverage)
