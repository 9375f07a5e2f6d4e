"""Four vanes on servos: commanded angle, sensed position."""

from decimal import Decimal

from hil.core.instant import MILLISECOND, Duration, Instant
from hil.core.signal import Value
from hil.nodes.model import Model, Surroundings
from hil.nodes.servo import Servo

VANES = ("vane-1", "vane-2", "vane-3", "vane-4")


class Louvres(Model):
    """Each vane moves by itself; positions are sampled in counts of 0.1 deg while one moves."""

    signals = tuple(f"{vane}.{part}" for part in ("angle", "position") for vane in VANES)
    frame = Duration(10 * MILLISECOND)

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        slew, lag = around.settings.amount("vane-slew"), around.settings.duration("vane-lag")
        self._servos = {vane: Servo(slew, lag, float(self._angle(vane))) for vane in VANES}

    def command(self, name: str, value: Value, now: Instant) -> None:
        super().command(name, value, now)
        vane, _, part = name.partition(".")
        if part == "angle" and isinstance(value, Decimal):
            self._servos[vane].aim(float(value), now)

    def sample(self, now: Instant) -> bool:
        changed = False
        for vane, servo in self._servos.items():
            position = self.count(f"{vane}.position", servo.position(now))
            if position != self.values[f"{vane}.position"]:
                self.values[f"{vane}.position"] = position
                changed = True
        return changed

    def moving(self, now: Instant) -> bool:
        return any(servo.moving(now) for servo in self._servos.values())

    def reset(self, now: Instant) -> None:
        """Forget all commands: servos drive home."""
        super().reset(now)
        for vane, servo in self._servos.items():
            servo.aim(float(self._angle(vane)), now)

    def _angle(self, vane: str) -> Decimal:
        angle = self.values[f"{vane}.angle"]
        assert isinstance(angle, Decimal)
        return angle
