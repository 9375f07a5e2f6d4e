"""One limit alarm as firmware keeps it: a trip point, a dead band, two delays, a latch.

This is the logic of a software node and knows nothing of alarm specs.  Each word of MISTAKES is a
fault that firmware is known to have, built in on purpose so that a proof can be seen to find it.
"""

import math
from dataclasses import dataclass

from hil.core.instant import Duration, Instant

MISTAKES = {
    "edge-late": "the upper alarm trips one count too late",
    "edge-of-the-other": "a value exactly at the lower trip point does not trip",
    "no-dead-band": "the upper alarm clears at its trip point",
    "dead-band-inward": "the dead band of the upper alarm lies on the way in",
    "delay-accumulated": "the on-delay of the upper alarm adds up over interruptions",
    "off-delay-ignored": "the off-delay of the lower alarm is not kept",
    "tower-swapped": "the tower shows amber for red and red for amber",
    "not-a-number-normal": "a measurement that is no number is shown as normal",
    "sentinel-alarm": "the sentinel counts as a very high value",
    "silence-ignored": "a sensor that says nothing still shows its last value",
    "latch-forever": "the latch of the highest alarm never lets go",
    "no-hold": "the start-up hold is not kept",
}
"""What can be wrong with a gauge, by the word for it in a bench file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """The settings of one alarm: trips at `trip` and beyond, clears from `clear` on back."""

    name: str
    rising: bool
    severity: int
    trip: float
    clear: float
    on_delay: Duration
    off_delay: Duration
    latched: bool = False
    adds_up: bool = False
    forever: bool = False


class LimitAlarm:
    """The state of one alarm; `look` and `lose` tell it what the sensor says from now on."""

    def __init__(self, limit: Limit) -> None:
        self.limit = limit
        self.standing = False
        self.latched = False
        self._acknowledged = False
        self._since: Instant | None = None
        self._sum = 0

    @property
    def shown(self) -> bool:
        return self.standing or self.latched

    @property
    def due(self) -> Instant | None:
        """When the delay that is running will be over."""
        if self._since is None:
            return None
        delay = self.limit.off_delay if self.standing else self.limit.on_delay
        return Instant(self._since + max(0, delay - self._sum))

    def look(self, value: float, now: Instant) -> None:
        """Take in the value in force from now on, and act where a delay is over."""
        if self._clears(value) if self.standing else self._trips(value):
            if self._since is None:
                self._since = now
        else:
            self.lose(now)
        if self.due is not None and self.due <= now:
            self._change()

    def lose(self, now: Instant) -> None:
        """No time counts from now on."""
        if self._since is not None and self.limit.adds_up:
            self._sum += now - self._since
        self._since = None

    def acknowledge(self) -> None:
        """Let the latch go: at once, or when the alarm clears."""
        if self.limit.forever:
            return
        if self.standing:
            self._acknowledged = True
        else:
            self.latched = False

    def restart(self) -> None:
        """Forget everything."""
        self.standing = self.latched = self._acknowledged = False
        self._since, self._sum = None, 0

    def _change(self) -> None:
        self.standing = not self.standing
        self._since, self._sum = None, 0
        if self.standing:
            self.latched, self._acknowledged = self.limit.latched, False
        elif self._acknowledged:
            self.latched = self._acknowledged = False

    def _trips(self, value: float) -> bool:
        if math.isnan(value):
            return False
        return value >= self.limit.trip if self.limit.rising else value <= self.limit.trip

    def _clears(self, value: float) -> bool:
        if math.isnan(value):
            return True
        return value <= self.limit.clear if self.limit.rising else value >= self.limit.clear
