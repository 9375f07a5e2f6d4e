"""A servo: turns at its slew rate, and settles over the last bit of the way.

    far away     moves at `slew`
    near         moves at distance / lag: the rest of the way shrinks by 63.2 % in each `lag`

The two meet at a distance of slew · lag, where their speeds are equal, so there is no jerk and no
overshoot.  Evaluated in closed form, like hil.nodes.lag.
"""

import math

from hil.core.instant import SECOND, Duration, Instant

_OVER = 20


class Servo:
    """One axis; positions in degrees, `slew` in degrees a second."""

    __slots__ = ("_from", "_lag", "_since", "_slew", "target")

    def __init__(self, slew: float, lag: Duration, position: float = 0.0) -> None:
        self._slew = slew
        self._lag = lag
        self._from = self.target = position
        self._since = 0

    def aim(self, target: float, now: Instant) -> None:
        """Command a new position."""
        self._from, self._since = self.position(now), now
        self.target = target

    def moving(self, now: Instant) -> bool:
        """Say whether it is still on its way."""
        return self._from != self.target and now < self._since + self.travel_time(0.0)

    def travel_time(self, band: float) -> Duration:
        """Return how long the way takes until the rest of it is at most `band` degrees."""
        way, near = abs(self.target - self._from), self._slew * self._lag / SECOND
        ramp = max(0.0, way - max(near, band)) / self._slew
        rest = min(way, near)
        if rest <= band or self._lag == 0:
            return Duration(round(ramp * SECOND))
        tail = math.log(rest / band) if band > 0 else _OVER
        return Duration(round(ramp * SECOND + tail * self._lag))

    def position(self, now: Instant) -> float:
        """Return where it is."""
        way = self.target - self._from
        near = self._slew * self._lag / SECOND
        ramp = max(0.0, abs(way) - near) / self._slew
        elapsed = (now - self._since) / SECOND
        if elapsed <= ramp:
            return self._from + math.copysign(self._slew * elapsed, way)
        tail = (elapsed - ramp) * SECOND
        if self._lag == 0 or tail >= _OVER * self._lag:
            return self.target
        rest = math.copysign(min(abs(way), near), way)
        return self.target - rest * math.exp(-tail / self._lag)
