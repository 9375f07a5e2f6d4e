"""What a node measures, moves and decides: the part of it that knows no datagrams.

A model keeps `values`, what a reading shows for each signal (None for no measurement).  It is a
machine but for its sends: the node around it (hil.nodes.node) asks it whether something changed
and does the telling.  While something moves it samples itself at its own frame time; at rest it
costs nothing.

To add a model: subclass `Model`, say in `sample` how values follow from physics and in `command`
what a command does, and name the class in hil.nodes.glasshouse.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import ClassVar

from hil.core.instant import MILLISECOND, Duration, Instant
from hil.core.signal import Kind, Signal, Value
from hil.nodes.noise import Noise
from hil.nodes.sensor import Rounding, Sensor
from hil.nodes.settings import Settings
from hil.wire.rack import Node


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a model is built from."""

    node: Node
    settings: Settings
    noise: Noise

    def signal(self, name: str) -> Signal:
        """Return the bench file's declaration of one of the node's signals."""
        return next(signal for signal in self.node.signals if signal.name == name)

    def sensor(self, name: str, lag: str = "", noise: str = "") -> Sensor:
        """Make the sensor of a signal; `lag` and `noise` name the settings that it has."""
        drive = self.signal(name).drive
        rest = drive.rest if drive is not None and isinstance(drive.rest, Decimal) else Decimal(0)
        return Sensor(
            self.node.encodings[name],
            rest,
            self.noise,
            self.settings.duration(lag) if lag else Duration(0),
            self.settings.amount(noise) if noise else 0.0,
        )


class Model:
    """A node without physics: it keeps what it is told.  Beacon and tile are this."""

    signals: ClassVar[tuple[str, ...]] = ()
    """What the model has besides `fault` and `power`; the bench file must declare the same."""
    faults: ClassVar[tuple[str, ...]] = ("none", "silent")
    reports_changes: ClassVar[bool] = True
    frame: ClassVar[Duration] = Duration(5 * MILLISECOND)

    def __init__(self, around: Surroundings) -> None:
        self.around = around
        self.values: dict[str, Value | None] = {
            signal.name: _at_power_up(signal) for signal in around.node.signals
        }
        self.sensors: Mapping[str, Sensor] = {}
        self._roundings: dict[str, Rounding] = {}
        self._restless = False
        self._due: Instant | None = None

    # --- what a subclass says ------------------------------------------------------------------

    def command(self, name: str, value: Value, now: Instant) -> None:
        """Do what a command says."""
        if name in self.sensors and isinstance(value, Decimal):
            self.sensors[name].impose(value, now)
        else:
            self.values[name] = value

    def sample(self, now: Instant) -> bool:
        """Bring `values` to this instant; return whether a reading would differ."""
        changed = False
        for name, sensor in self.sensors.items():
            if sensor.look(now):
                self.values[name] = sensor.value
                changed = True
        return changed

    def moving(self, now: Instant) -> bool:
        """Say whether `values` will change by themselves."""
        return any(sensor.moving(now) for sensor in self.sensors.values())

    def reset(self, now: Instant) -> None:
        """Lose what is lost with the power; what sensors are exposed to stays."""
        for signal in self.around.node.signals:
            if signal.name not in self.sensors:
                self.values[signal.name] = _at_power_up(signal)
        for sensor in self.sensors.values():
            sensor.boot(now)

    def count(self, name: str, number: float) -> Decimal:
        """Return the value of a signal's count that is nearest to a number."""
        rounding = self._roundings.get(name)
        if rounding is None:
            rounding = self._roundings[name] = Rounding(self.around.node.encodings[name])
        return rounding.nearest(number)

    # --- what the node asks --------------------------------------------------------------------

    def start(self, now: Instant) -> None:
        """Measure for the first time."""
        self._restless = not self.reports_changes or any(
            sensor.noisy for sensor in self.sensors.values()
        )
        self.sample(now)
        self._plan(now)

    def boot(self, now: Instant) -> None:
        """Power has come back."""
        self.reset(now)
        self.sample(now)
        self._plan(now)

    def drive(self, name: str, value: Value, now: Instant) -> bool:
        """Take a command that was found good; return whether a reading would differ at once."""
        before = self.values.get(name)
        self.command(name, value, now)
        if name == "fault" and isinstance(value, str):
            self.values[name] = value
            for sensor in self.sensors.values():
                sensor.suffer(value)
        changed = self.sample(now) or self.values.get(name) != before
        self._plan(now)
        return changed

    def look(self, now: Instant) -> None:
        """Prepare a reading: measure once more, where the noise would show."""
        if self._restless:
            self.sample(now)

    def tick(self, now: Instant) -> bool:
        """Let moving things move; return whether a reading would differ."""
        if self._due is None or now < self._due:
            return False
        changed = self.sample(now)
        self._plan(now)
        return changed

    def next_wakeup(self) -> Instant | None:
        """Return when the model wants to look at itself again."""
        return self._due

    def _plan(self, now: Instant) -> None:
        moves = self.reports_changes and self.moving(now)
        self._due = Instant(now + self.frame) if moves else None


def _at_power_up(signal: Signal) -> Value | None:
    """Return what a signal shows before anybody has said anything: actuators begin safe."""
    if signal.drive is not None and signal.drive.actuator:
        return signal.drive.safe
    if signal.kind is Kind.LABEL:
        return signal.labels[0]
    if signal.kind is Kind.TEXT:
        return ""
    return Decimal(0) if signal.drive is None else signal.drive.safe
