"""The fan: duty in, speed out, and a coloured light behind it."""

from decimal import Decimal

from hil.core.instant import Instant
from hil.core.signal import Value
from hil.nodes.lag import Lag
from hil.nodes.model import Model, Surroundings


class Circulator(Model):
    """Speed follows duty like a first-order lag; the tachometer counts whole rpm."""

    signals = ("duty", "speed", "tint")
    reports_changes = False

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        settings = around.settings
        self._per_percent = settings.amount("fan-full-speed") / 100
        self._rotor = Lag(settings.duration("fan-lag"), 0.0)
        self._sigma = settings.amount("speed-noise")

    def command(self, name: str, value: Value, now: Instant) -> None:
        super().command(name, value, now)
        if name == "duty" and isinstance(value, Decimal):
            self._rotor.aim(float(value) * self._per_percent, now)

    def sample(self, now: Instant) -> bool:
        speed = self._rotor.value(now)
        if speed > 0:  # a fan at rest stands still
            speed += self._sigma * self.around.noise.bell()
        shown = self.count("speed", speed)
        changed = shown != self.values["speed"]
        self.values["speed"] = shown
        return changed

    def reset(self, now: Instant) -> None:
        super().reset(now)
        self._rotor.aim(0.0, now)
