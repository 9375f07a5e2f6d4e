"""Trip points with a dead band: when does an alarm begin, and when is it over?

    rising    begins at the level and above,   over at level - dead band and below
    falling   begins at the level and below,   over at level + dead band and above

The level that trips belongs to the alarm; the dead band acts on the way back only.  With a dead
band of nothing the alarm is over as soon as the level is no longer met.
"""

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class TripPoint:
    """One trip point: its level, which way it trips, how far back it must come."""

    level: Decimal
    rising: bool
    dead_band: Decimal = Decimal(0)

    def active(self, value: Decimal, before: bool) -> bool:
        """Say whether the alarm is on at `value`, when it was `before`."""
        beyond = value - self.level if self.rising else self.level - value
        return beyond >= 0 or (before and beyond > -self.dead_band)


class Trips:
    """Several trip points on one quantity, and which of them are active."""

    __slots__ = ("_points", "active")

    def __init__(self, **points: TripPoint) -> None:
        self._points = points
        self.active = dict.fromkeys(points, False)

    def receive(self, value: Decimal) -> dict[str, bool]:
        """Take in a value; return which trip points are active now."""
        for name, point in self._points.items():
            self.active[name] = point.active(value, self.active[name])
        return self.active

    def clear(self) -> None:
        """Forget: nothing is active."""
        self.active = dict.fromkeys(self._points, False)
