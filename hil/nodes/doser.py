"""A nutrient doser: a small pump behind a valve, fed from a tank, with a serial console.

    rate ──▶ pump ──lag──▶ flow      0 while the valve is closed, the tank dry or the tube clogged

What it shows as `state`: idle (nothing to do), dosing, dry (the tank is at or below its limit),
and blocked (it should dose and nothing flows).
"""

from collections.abc import Mapping
from decimal import Decimal

from hil.core.instant import Instant
from hil.core.signal import Value
from hil.nodes.lag import Lag
from hil.nodes.model import Model, Surroundings
from hil.nodes.settings import Rules

DEFAULTS: Mapping[str, str] = {
    "firmware": "2.3.0",
    "tank-dry": "5.0 %",
    "pump-lag": "40 ms",
    "chatter": "4 ms",
    "boot-time": "300 ms",
    "fastest-answer": "1 ms",
    "slowest-answer": "6 ms",
}

RULES = Rules(defaults=DEFAULTS, positive=("boot-time", "chatter"), contradictions=())


class Doser(Model):
    """The pump; `tank` is injected, `flow` and `state` follow."""

    signals = ("rate", "valve", "tank", "flow", "state")
    faults = ("none", "clogged", "silent", "chatty")

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        settings = around.settings
        self._dry = settings.amount("tank-dry")
        self._pump = Lag(settings.duration("pump-lag"), 0.0)
        drive = around.signal("tank").drive
        self._tank = drive.rest if drive is not None else Decimal(0)

    def command(self, name: str, value: Value, now: Instant) -> None:
        if name == "tank" and isinstance(value, Decimal):
            self._tank = value
        else:
            self.values[name] = value

    def sample(self, now: Instant) -> bool:
        before = dict(self.values)
        self.values["tank"] = self._tank
        rate, fault = self.values["rate"], self.values["fault"]
        wanted = float(rate) if isinstance(rate, Decimal) else 0.0
        is_open, dry = self.values["valve"] == "open", float(self._tank) <= self._dry
        target = wanted if is_open and not dry and fault != "clogged" else 0.0
        if target != self._pump.target:
            self._pump.aim(target, now)
        self.values["flow"] = self.count("flow", self._pump.value(now))
        self.values["state"] = _state(wanted if is_open else 0.0, dry, fault == "clogged")
        return self.values != before

    def moving(self, now: Instant) -> bool:
        return self._pump.moving(now)

    def reset(self, now: Instant) -> None:
        super().reset(now)
        self._pump.jump(0.0, 0.0, now)


def _state(wanted: float, dry: bool, clogged: bool) -> str:
    if dry:
        return "dry"
    if wanted == 0:
        return "idle"
    return "blocked" if clogged else "dosing"
