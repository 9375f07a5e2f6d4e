"""The distance sensor above the water, the level that follows from it, and the bar of LEDs."""

from decimal import Decimal

from hil.core.instant import Instant
from hil.core.signal import Value
from hil.nodes.model import Model, Surroundings


class Cistern(Model):
    """Distance down to the water; more distance means less water."""

    signals = ("distance", "level", "bar-segments", "bar-colour")
    faults = ("none", "open-circuit", "frozen", "silent")

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        self.sensors = {"distance": around.sensor("distance", "sensor-lag", "distance-noise")}
        self._empty = around.settings.amount("cistern-empty")
        self._full = around.settings.amount("cistern-full")

    def sample(self, now: Instant) -> bool:
        changed = super().sample(now)
        if changed:
            self.values["level"] = self._level(self.values["distance"])
        return changed

    def _level(self, distance: Value | None) -> Decimal | None:
        """Return the level, in percent, between 0 and 100; None without a distance."""
        if not isinstance(distance, Decimal):
            return None
        part = 100 * (self._empty - float(distance)) / (self._empty - self._full)
        return self.count("level", min(max(part, 0.0), 100.0))
