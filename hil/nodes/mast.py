"""The weather mast: light, air, barometer, and where the sun stands.

It reports by the clock and never in between.  The dew point is its own arithmetic.
"""

import math
from decimal import Decimal

from hil.core.instant import Instant
from hil.core.signal import Value
from hil.nodes.model import Model, Surroundings

_Air = tuple[Value | None, Value | None]
"""Temperature and humidity."""

_TABLE_SIZE = 4_096


def dew_point(celsius: float, humidity: float) -> float:
    """Return the dew point in °C of air at a temperature in °C and a relative humidity in %.

    Magnus' formula with 17.62 and 243.12 °C, over water (WMO-No. 8).
    """
    part = math.log(max(humidity, 0.1) / 100) + 17.62 * celsius / (243.12 + celsius)
    return 243.12 * part / (17.62 - part)


class Mast(Model):
    """Five imposed quantities and one computed."""

    signals = ("light", "temperature", "humidity", "dew-point", "sun-angle", "barometer")
    faults = ("none", "open-circuit", "frozen", "silent", "not-a-number")
    reports_changes = False

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        self.sensors = {
            "light": around.sensor("light", "sensor-lag", "light-noise"),
            "temperature": around.sensor("temperature", "air-lag", "temperature-noise"),
            "humidity": around.sensor("humidity", "air-lag", "humidity-noise"),
            "sun-angle": around.sensor("sun-angle", "", "sun-noise"),
            "barometer": around.sensor("barometer", "sensor-lag", "barometer-noise"),
        }
        self._air: _Air = (None, None)
        self._dew_points: dict[_Air, Value | None] = {}

    def drive(self, name: str, value: Value, now: Instant) -> bool:
        changed = super().drive(name, value, now)
        if name == "fault" and value == "not-a-number":
            self.sensors["barometer"].suffer("open-circuit")
            changed = self.sample(now) or changed
        return changed

    def sample(self, now: Instant) -> bool:
        changed = super().sample(now)
        air = self.values["temperature"], self.values["humidity"]
        if air != self._air:
            self._air = air
            if len(self._dew_points) >= _TABLE_SIZE:
                self._dew_points.clear()
            if air not in self._dew_points:
                self._dew_points[air] = self._dew_point(*air)
            self.values["dew-point"] = self._dew_points[air]
        return changed

    def _dew_point(self, celsius: Value | None, humidity: Value | None) -> Decimal | None:
        if not isinstance(celsius, Decimal) or not isinstance(humidity, Decimal):
            return None
        return self.count("dew-point", dew_point(float(celsius), float(humidity)))
