"""By what a proof brings about what it wants to see: the part of a spec that names stimuli.

The input is driven by itself, or through another signal that it follows in a straight line: a
level through the distance down to the water.  Faults, restarts and silence are provoked where the
bench file offers a driven signal for them; what has no way is listed as not provoked.
"""

from dataclasses import dataclass
from decimal import Decimal

from hil.core.error import Mark
from hil.core.signal import EXACT, Value

SENTINEL = "sentinel"
NOT_A_NUMBER = "not-a-number"
OUT_OF_RANGE = "out-of-range"
STALE_VALUE = "stale"
SILENCE = "silent"
RESTART = "restart"
SENSOR_RESTART = "sensor-restart"
PROVOKED = (
    SENTINEL,
    NOT_A_NUMBER,
    OUT_OF_RANGE,
    STALE_VALUE,
    SILENCE,
    RESTART,
    SENSOR_RESTART,
)
"""What can be provoked; RESTART is that of the node that decides."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The driven signal that the input follows, and its values at both ends of the spec's range."""

    signal: str
    at_low: Decimal
    at_high: Decimal

    def driven(self, value: Decimal, low: Decimal, high: Decimal) -> Decimal:
        """Return what must be driven for a value of the input; not rounded."""
        span = EXACT.subtract(self.at_high, self.at_low)
        share = EXACT.divide(EXACT.subtract(value, low), EXACT.subtract(high, low))
        return EXACT.add(self.at_low, EXACT.multiply(span, share))


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One thing that can be provoked: `signal` is driven to `value`, and to its rest to end it."""

    what: str
    signal: str
    value: Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Means:
    """All ways of one spec; without `line` the input is driven by itself."""

    ways: tuple[Way, ...]
    mark: Mark
    line: Line | None = None

    def way(self, what: str) -> Way | None:
        """Return the way to provoke something; None where none is declared."""
        return next((way for way in self.ways if way.what == what), None)
