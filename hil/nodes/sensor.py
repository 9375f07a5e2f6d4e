"""One sensor: the quantity it is exposed to, its lag, its noise, its counts, its faults.

imposed value ──lag──▶ quantity ──noise──▶ ──nearest count──▶ what a reading shows

fault            what a reading shows
none             the measurement
open-circuit     no measurement (the layout's sentinel, or NaN)
frozen           the last measurement, for ever
"""

from decimal import Decimal

from hil.core.instant import ZERO, Duration, Instant
from hil.core.signal import Value
from hil.nodes.lag import Lag
from hil.nodes.noise import Noise
from hil.wire.encoding import scaled
from hil.wire.rack import Encoding

_TABLE_SIZE = 4_096
"""A resting sensor shows the same few counts over and over: so many values are kept at hand."""


class Rounding:
    """The values that a signal's counts mean, found by the numbers nearest to them."""

    __slots__ = ("_encoding", "_offset", "_scale", "_values")

    def __init__(self, encoding: Encoding) -> None:
        self._encoding = encoding
        self._offset, self._scale = float(encoding.offset), float(encoding.scale)
        self._values: dict[int, Decimal] = {}

    def nearest(self, number: float) -> Decimal:
        """Return the value of the count nearest to a number; a number out of range is clipped."""
        count = round((number - self._offset) / self._scale)
        value = self._values.get(count)
        if value is None:
            if len(self._values) >= _TABLE_SIZE:
                self._values.clear()
            value = scaled(self._encoding, clipped(self._encoding, count))
            self._values[count] = value
        return value


def nearest(encoding: Encoding, number: float) -> Decimal:
    """Return the value of the count nearest to a number, for one number only."""
    return Rounding(encoding).nearest(number)


def clipped(encoding: Encoding, count: int) -> int:
    """Keep a count where it means a measurement: a sensor saturates, it does not wrap."""
    low, high = encoding.low, encoding.high
    if low is not None and count < low:
        return low
    return high if high is not None and count > high else count


class Sensor:
    """A number that is sensed; `value` is what a reading shows, None for no measurement."""

    __slots__ = (
        "_count",
        "_encoding",
        "_frozen",
        "_lag",
        "_noise",
        "_open",
        "_per_unit",
        "_shift",
        "_sigma",
        "_values",
        "value",
    )

    def __init__(
        self,
        encoding: Encoding,
        rest: Decimal,
        noise: Noise,
        lag: Duration = ZERO,
        sigma: float = 0.0,
    ) -> None:
        """Expose it to `rest` from the beginning; `sigma` is the noise's standard deviation."""
        self._encoding = encoding
        self._per_unit = 1 / float(encoding.scale)
        self._shift = -float(encoding.offset) * self._per_unit
        self._lag = Lag(lag, float(rest))
        self._noise = noise
        self._sigma = sigma
        self._open = self._frozen = False
        self._count: int | None = None
        self._values: dict[int, Value] = {}
        self.value: Value | None = None

    @property
    def noisy(self) -> bool:
        return self._sigma > 0

    def impose(self, value: Decimal, now: Instant) -> None:
        """Expose the sensor to another value."""
        self._lag.aim(float(value), now)

    def boot(self, now: Instant) -> None:
        """Begin again from nothing, as electronics do; faults that were told to it are over."""
        self._open = self._frozen = False
        self._lag.jump(0.0, self._lag.target, now)

    def suffer(self, fault: str) -> None:
        """Take on a fault, or `none`."""
        self._open, self._frozen = fault == "open-circuit", fault == "frozen"

    def moving(self, now: Instant) -> bool:
        """Say whether the quantity is still on its way."""
        return self._lag.moving(now)

    def look(self, now: Instant) -> bool:
        """Measure once; return whether what a reading shows has changed."""
        if self._frozen:
            return False
        if self._open:
            changed, self.value, self._count = self.value is not None, None, None
            return changed
        quantity = self._lag.value(now)
        if self._sigma:
            quantity += self._sigma * self._noise.bell()
        count = round(quantity * self._per_unit + self._shift)
        if count == self._count:
            return False
        self._count = count
        value = self._values.get(count)
        if value is None:
            if len(self._values) >= _TABLE_SIZE:
                self._values.clear()
            value = self._values[count] = scaled(self._encoding, clipped(self._encoding, count))
        self.value = value
        return True
