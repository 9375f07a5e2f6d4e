"""A first-order lag: what follows its target as a thermometer follows the air.

    value(t) = target + (value(0) - target) · e^(-t/tau)

63.2 % of a step is reached after one time constant.  The formula is evaluated where it is asked
for, so it costs nothing in between and does not depend on how often anybody looks.
"""

import math

from hil.core.instant import Duration, Instant

_OVER = 20
"""After so many time constants the rest (2e-9 of the step) is dropped."""


class Lag:
    """One quantity on its way to a target."""

    __slots__ = ("_from", "_since", "_tau", "target")

    def __init__(self, tau: Duration, value: float) -> None:
        """Start at rest at `value`; a `tau` of zero follows at once."""
        self._tau = tau
        self._from = self.target = value
        self._since = 0

    def aim(self, target: float, now: Instant) -> None:
        """Give it a new target; it leaves from where it is."""
        self._from, self._since = self.value(now), now
        self.target = target

    def jump(self, value: float, target: float, now: Instant) -> None:
        """Put it at `value` at once, on its way to `target`."""
        self._from, self._since, self.target = value, now, target

    def moving(self, now: Instant) -> bool:
        """Say whether it is still on its way."""
        return self._from != self.target and now - self._since < _OVER * self._tau

    def value(self, now: Instant) -> float:
        """Return where it is."""
        elapsed = now - self._since
        if self._from == self.target or elapsed >= _OVER * self._tau:
            return self.target
        return self.target + (self._from - self.target) * math.exp(-elapsed / self._tau)
