"""A propagator: a heated bed for seedlings under a hood, two nodes that decide by themselves.

    bed    soil temperature ──▶ thermostat ──▶ heater mat     (or by hand)
    hood   air temperature  ──▶ vent                           humidity and a sign beside it

Both switch with a dead band, so that they do not chatter around one temperature.
"""

from collections.abc import Mapping
from decimal import Decimal

from hil.core.instant import Instant
from hil.core.signal import EXACT, Value
from hil.nodes.model import Model, Surroundings
from hil.nodes.sensor import Sensor
from hil.nodes.settings import Rules
from hil.wire.rack import Encoding

DEFAULTS: Mapping[str, str] = {
    "firmware": "1.2.0",
    "mat-on-below": "20.0 degC",
    "mat-off-above": "22.0 degC",
    "vent-opens-above": "28.0 degC",
    "vent-closes-below": "26.0 degC",
    "mat-power": "80 %",
    "soil-lag": "40 ms",
    "air-lag": "60 ms",
    "soil-noise": "0.0 degC",
    "report-every": "500 ms",
    "boot-time": "300 ms",
    "fastest-answer": "1 ms",
    "slowest-answer": "6 ms",
}

RULES = Rules(
    defaults=DEFAULTS,
    positive=("report-every", "boot-time"),
    contradictions=(
        ("mat-on-below", "mat-off-above"),
        ("vent-closes-below", "vent-opens-above"),
    ),
)

_COUNT = Decimal("0.1")
"""What its sensors can tell apart, in degC and in %."""


def _sensor(around: Surroundings, name: str, lag: str, noise: str = "") -> Sensor:
    """Return a sensor of tenths, within the range that the bench file declares."""
    signal = around.signal(name)
    low, high = (
        None if end is None else int(EXACT.divide(end, _COUNT)) for end in (signal.low, signal.high)
    )
    rest = signal.drive.rest if signal.drive is not None else Decimal(0)
    settings = around.settings
    return Sensor(
        Encoding(scale=_COUNT, low=low, high=high),
        rest if isinstance(rest, Decimal) else Decimal(0),
        around.noise,
        settings.duration(lag),
        settings.amount(noise) if noise else 0.0,
    )


class Bed(Model):
    """The bed: soil, mat and thermostat."""

    signals = ("soil", "mat.duty", "mat.state", "mode")
    faults = ("none", "open-circuit", "frozen")

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        settings = around.settings
        self.sensors = {"soil": _sensor(around, "soil", "soil-lag", "soil-noise")}
        self._on_below = settings.number("mat-on-below")
        self._off_above = settings.number("mat-off-above")
        self._power = settings.number("mat-power")

    def command(self, name: str, value: Value, now: Instant) -> None:
        super().command(name, value, now)
        if name == "mode" and value == "by-hand":
            self.values["mat.duty"] = Decimal(0)  # what the thermostat left on is nobody's wish

    def sample(self, now: Instant) -> bool:
        before = dict(self.values)
        super().sample(now)
        self._regulate(self.values["soil"])
        duty = self.values["mat.duty"]
        self.values["mat.state"] = "heating" if duty else "cold"
        return self.values != before

    def _regulate(self, soil: Value | None) -> None:
        """Let the thermostat decide; without a measurement the mat is cold."""
        if self.values["mode"] != "automatic":
            return
        if not isinstance(soil, Decimal) or soil > self._off_above:
            self.values["mat.duty"] = Decimal(0)
        elif soil < self._on_below:
            self.values["mat.duty"] = self._power


class Hood(Model):
    """The hood: air, vent, and a sign that says what grows there."""

    signals = ("air.temperature", "air.humidity", "vent", "sign")
    faults = ("none", "open-circuit", "frozen")

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        settings = around.settings
        self.sensors = {
            "air.temperature": _sensor(around, "air.temperature", "air-lag"),
            "air.humidity": _sensor(around, "air.humidity", "air-lag"),
        }
        self._opens_above = settings.number("vent-opens-above")
        self._closes_below = settings.number("vent-closes-below")

    def sample(self, now: Instant) -> bool:
        before = dict(self.values)
        super().sample(now)
        air = self.values["air.temperature"]
        if not isinstance(air, Decimal) or air > self._opens_above:
            self.values["vent"] = "open"  # without a measurement rather too cold than too hot
        elif air < self._closes_below:
            self.values["vent"] = "closed"
        return self.values != before


MODELS: Mapping[str, type[Model]] = {"bed": Bed, "hood": Hood}
"""The models of the propagator, by the name of their node."""
