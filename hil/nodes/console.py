"""The head unit's decisions: what it shows, and what it wants the other nodes to do.

    off        nothing but the indicators
    manual     the stick moves the selected vane; its direction is shown
    sun        all vanes follow the sun; lamps by light
    climate    fan and tint by temperature; lamps by light

What a mode drives and the next one does not is parked once and then left alone, so that in `off`
the tool can command every actuator itself.  Indicators are driven in every mode.  Trip points and
dead bands are in hil.nodes.trip; the value as measured decides, not the value as displayed.
"""

from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal

from hil.core.instant import Instant, earliest
from hil.core.signal import Value
from hil.nodes.dry_run import DryRun
from hil.nodes.lamps import STRIPS
from hil.nodes.louvres import VANES
from hil.nodes.model import Model, Surroundings
from hil.nodes.trip import TripPoint, Trips

LISTENED = ("feedline", "cistern", "mast", "pendant")
"""The nodes it decides by."""

INDICATORS = ("beacon.lamp", "tile.disc", "cistern.bar-segments", "cistern.bar-colour")

_PARKED: Mapping[str, Value] = {
    **{f"louvres.{vane}.angle": Decimal(0) for vane in VANES},
    **{f"lamps.{strip}.switch": "off" for strip in STRIPS},
    **{f"lamps.{strip}.brightness": Decimal(0) for strip in STRIPS},
    "circulator.duty": Decimal(0),
    "circulator.tint": "off",
    "tile.arrow": "none",
}
_LEVEL_COLOURS = {"dry": "red", "low": "amber", "normal": "green", "full": "amber"}
_AIR = {"heating": "cold", "off": "comfortable", "cooling": "warm"}
_SEGMENTS = 8
_TENTH, _WHOLE = Decimal("0.1"), Decimal(1)
_VANE_LIMIT = Decimal(60)
_FAN_STEP = 2  # percent; smaller corrections are not worth a command


class Console(Model):
    """Shows and decides; `decide` says what it wants driven, `parked` what it lets go of."""

    signals = (
        *("mode", "feed-colour", "feed-reading", "feed-amber", "feed-red", "level-band"),
        *("target-temperature", "direction", "lamps"),
        *("air", "daylight", "dry-run", "acknowledge"),
    )

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        number = around.settings.number
        band = number("feed-dead-band")
        self._feed = Trips(
            red=TripPoint(level=number("feed-red"), rising=True, dead_band=band),
            high=TripPoint(level=number("feed-amber"), rising=True, dead_band=band),
            low=TripPoint(level=number("feed-low"), rising=False, dead_band=band),
        )
        band = number("level-dead-band")
        self._level = Trips(
            dry=TripPoint(level=number("level-dry"), rising=False, dead_band=band),
            low=TripPoint(level=number("level-low"), rising=False, dead_band=band),
            full=TripPoint(level=number("level-full"), rising=True, dead_band=band),
        )
        on, off = number("lamps-on"), number("lamps-off")
        self._dark = TripPoint(level=on, rising=False, dead_band=off - on)
        self._dry_run = DryRun(
            TripPoint(
                level=number("dry-run-level"), rising=False, dead_band=number("dry-run-dead-band")
            ),
            around.settings.duration("dry-run-delay"),
            around.settings.duration("dry-run-hold"),
        )
        self._number = number
        self.reset(Instant(0))

    def reset(self, now: Instant) -> None:
        super().reset(now)
        self.values["feed-amber"] = self.count("feed-amber", float(self._number("feed-amber")))
        self.values["feed-red"] = self.count("feed-red", float(self._number("feed-red")))
        self.values["feed-reading"] = None
        self._feed.clear()
        self._level.clear()
        self._dry_run.restart(now)
        self._driven: dict[str, Value] = {}
        self._tint = "off"
        self._lit = False
        self.parked: dict[str, Value] = {}

    def start(self, now: Instant) -> None:
        """Power up."""
        super().start(now)
        self._dry_run.restart(now)

    def command(self, name: str, value: Value, now: Instant) -> None:
        """Take a command; the button counts when it goes down."""
        pressed = value == "pressed" != self.values.get(name)
        super().command(name, value, now)
        if name == "acknowledge" and pressed:
            self._dry_run.acknowledge()
            self.values["dry-run"] = self._dry_run.shown

    def tick(self, now: Instant) -> bool:
        """Let the dry-run protection wait for its time."""
        changed = super().tick(now)
        self._dry_run.tick(now)
        before, self.values["dry-run"] = self.values["dry-run"], self._dry_run.shown
        return changed or before != self.values["dry-run"]

    def next_wakeup(self) -> Instant | None:
        """Return when something changes by itself."""
        return earliest(super().next_wakeup(), self._dry_run.next_wakeup())

    def concerned(self, changed: set[str]) -> bool:
        """Say whether any of these signals matters in the present mode."""
        if self.values["mode"] in ("sun", "climate"):
            return True
        return any(not path.startswith("mast.") for path in changed)

    def decide(self, seen: Mapping[str, Value | None], now: Instant) -> dict[str, Value]:
        """Return what is to be driven, given what the other nodes show.

        Everything shown here goes into `values`; what is no longer driven into `parked`.
        """
        wanted = self._indicators(seen)
        if "cistern.level" in seen:
            self._dry_run.receive(seen["cistern.level"], now)
            self.values["dry-run"] = self._dry_run.shown
        mode = seen.get("pendant.selector")
        if isinstance(mode, str):
            self.values["mode"] = mode
        driven = self._mode(seen)
        self.parked = {path: _PARKED[path] for path in self._driven if path not in driven}
        self._driven = driven
        if "tile.arrow" not in driven:
            self.values["direction"] = "none"
        if "circulator.tint" not in driven:
            self._tint, self.values["air"] = "off", "unknown"
        if "lamps.strip-1.switch" not in driven:
            self.values["lamps"], self._lit = "off", False
            self.values["daylight"] = "unknown"
        return wanted | driven

    # --- indicators ----------------------------------------------------------------------------

    def _indicators(self, seen: Mapping[str, Value | None]) -> dict[str, Value]:
        wanted: dict[str, Value] = {}
        if "feedline.pressure" in seen:
            colour = self._feed_colour(seen["feedline.pressure"])
            self.values["feed-colour"] = colour
            wanted |= {"beacon.lamp": colour, "tile.disc": colour}
        if "cistern.level" in seen:
            wanted |= self._level_bar(seen["cistern.level"])
        return wanted

    def _feed_colour(self, pressure: Value | None) -> str:
        if not isinstance(pressure, Decimal):
            self._feed.clear()
            self.values["feed-reading"] = None
            return "blue"
        shown = pressure.quantize(_TENTH, ROUND_HALF_UP)
        self.values["feed-reading"] = self.count("feed-reading", float(shown))
        active = self._feed.receive(pressure)
        if active["red"]:
            return "red"
        return "amber" if active["high"] or active["low"] else "green"

    def _level_bar(self, level: Value | None) -> dict[str, Value]:
        if not isinstance(level, Decimal):
            self._level.clear()
            self.values["level-band"] = "unknown"
            return {"cistern.bar-segments": Decimal(0), "cistern.bar-colour": "blue"}
        active = self._level.receive(level)
        band = next((name for name in ("dry", "low", "full") if active[name]), "normal")
        self.values["level-band"] = band
        lit = (level * _SEGMENTS / 100).quantize(_WHOLE, ROUND_HALF_UP)
        return {"cistern.bar-segments": lit, "cistern.bar-colour": _LEVEL_COLOURS[band]}

    # --- modes ---------------------------------------------------------------------------------

    def _mode(self, seen: Mapping[str, Value | None]) -> dict[str, Value]:
        match self.values["mode"]:
            case "manual":
                return self._manual(seen)
            case "sun":
                return self._sun(seen) | self._lamps(seen)
            case "climate":
                return self._climate(seen) | self._lamps(seen)
        return {}

    def _manual(self, seen: Mapping[str, Value | None]) -> dict[str, Value]:
        """The stick's height is the selected vane's angle; the others stay where they are."""
        driven: dict[str, Value] = {}
        if "tile.arrow" in self._driven:  # not just entered
            driven = {path: v for path, v in self._driven.items() if path.endswith(".angle")}
        x, y = seen.get("pendant.stick-x"), seen.get("pendant.stick-y")
        vane = seen.get("pendant.vane-select")
        direction = "none"
        if isinstance(x, Decimal) and isinstance(y, Decimal) and vane in VANES:
            direction = self._direction(x, y)
            height = y if abs(y) > self._number("stick-dead-zone") else Decimal(0)
            driven[f"louvres.{vane}.angle"] = self._vane_angle(
                height * self._number("stick-travel") / 100
            )
        self.values["direction"] = direction
        return {**driven, "tile.arrow": direction}

    def _direction(self, x: Decimal, y: Decimal) -> str:
        """Return where the stick points; upright wins where both are as strong."""
        if max(abs(x), abs(y)) <= self._number("stick-dead-zone"):
            return "none"
        if abs(y) >= abs(x):
            return "up" if y > 0 else "down"
        return "right" if x > 0 else "left"

    def _sun(self, seen: Mapping[str, Value | None]) -> dict[str, Value]:
        """All vanes face the sun, as far as they can turn."""
        paths = [f"louvres.{vane}.angle" for vane in VANES]
        sun = seen.get("mast.sun-angle")
        kept = {path: self._driven[path] for path in paths if path in self._driven}
        if not isinstance(sun, Decimal):
            return kept
        angle = self._vane_angle(sun)
        step = self._number("sun-step")
        following = len(kept) == len(paths)
        if following and all(
            isinstance(old, Decimal) and abs(angle - old) < step for old in kept.values()
        ):
            return kept
        return dict.fromkeys(paths, angle)

    def _climate(self, seen: Mapping[str, Value | None]) -> dict[str, Value]:
        """Tint and fan by how far the air is off its target."""
        target, actual = self.values["target-temperature"], seen.get("mast.temperature")
        if not isinstance(target, Decimal) or not isinstance(actual, Decimal):
            self._tint, self.values["air"] = "off", "unknown"
            return {"circulator.duty": Decimal(0), "circulator.tint": "off"}
        before, self._tint = self._tint, self._tint_for(target, actual)
        self.values["air"] = _AIR[self._tint]
        duty = self._duty(abs(actual - target))
        old = self._driven.get("circulator.duty")
        if self._tint == before and isinstance(old, Decimal) and abs(duty - old) < _FAN_STEP:
            duty = old
        return {"circulator.duty": duty, "circulator.tint": self._tint}

    def _tint_for(self, target: Decimal, actual: Decimal) -> str:
        band = self._number("climate-band")
        cold = TripPoint(level=target - band, rising=False, dead_band=band)
        warm = TripPoint(level=target + band, rising=True, dead_band=band)
        if cold.active(actual, self._tint == "heating"):
            return "heating"
        return "cooling" if warm.active(actual, self._tint == "cooling") else "off"

    def _duty(self, off_by: Decimal) -> Decimal:
        if self._tint == "off":
            return self._number("fan-idle").quantize(_WHOLE)
        duty = self._number("fan-floor") + self._number("fan-gain") * off_by
        return min(duty, Decimal(100)).quantize(_WHOLE, ROUND_HALF_UP)

    def _lamps(self, seen: Mapping[str, Value | None]) -> dict[str, Value]:
        """Grow lamps by light; without a reading they stay as they are."""
        light = seen.get("mast.light")
        if isinstance(light, Decimal):
            self._lit = self._dark.active(light, self._lit)
            self.values["daylight"] = "dark" if self._lit else "bright"
        else:
            self.values["daylight"] = "unknown"
        self.values["lamps"] = "on" if self._lit else "off"
        brightness = self._number("lamp-brightness").quantize(_WHOLE) if self._lit else Decimal(0)
        driven: dict[str, Value] = {}
        for strip in STRIPS:
            driven[f"lamps.{strip}.brightness"] = brightness
            driven[f"lamps.{strip}.switch"] = "on" if self._lit else "off"
        return driven

    @staticmethod
    def _vane_angle(angle: Decimal) -> Decimal:
        return min(max(angle, -_VANE_LIMIT), _VANE_LIMIT).quantize(_TENTH, ROUND_HALF_UP)
