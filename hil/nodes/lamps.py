"""Two strips of grow lamps: a switch, a brightness, and a photodiode that sees what comes out."""

from decimal import Decimal

from hil.core.instant import Instant
from hil.core.signal import Value
from hil.nodes.lag import Lag
from hil.nodes.model import Model, Surroundings

STRIPS = ("strip-1", "strip-2")


class Lamps(Model):
    """Output follows the brightness while the switch is on, and is dark while it is off."""

    signals = tuple(
        f"{strip}.{part}" for strip in STRIPS for part in ("switch", "brightness", "output")
    )

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        lag = around.settings.duration("strip-lag")
        self._glow = {strip: Lag(lag, 0.0) for strip in STRIPS}

    def command(self, name: str, value: Value, now: Instant) -> None:
        super().command(name, value, now)
        strip = name.partition(".")[0]
        if strip in self._glow:
            self._glow[strip].aim(self._wanted(strip), now)

    def sample(self, now: Instant) -> bool:
        changed = False
        for strip, glow in self._glow.items():
            output = self.count(f"{strip}.output", glow.value(now))
            if output != self.values[f"{strip}.output"]:
                self.values[f"{strip}.output"] = output
                changed = True
        return changed

    def moving(self, now: Instant) -> bool:
        return any(glow.moving(now) for glow in self._glow.values())

    def reset(self, now: Instant) -> None:
        super().reset(now)
        for strip, glow in self._glow.items():
            glow.aim(self._wanted(strip), now)

    def _wanted(self, strip: str) -> float:
        brightness = self.values[f"{strip}.brightness"]
        lit = self.values[f"{strip}.switch"] == "on" and isinstance(brightness, Decimal)
        return float(brightness) if lit else 0.0  # type: ignore[arg-type]
