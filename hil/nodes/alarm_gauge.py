"""A gauge that decides and shows its own alarms: five bands, three indicators, one latch.

    level ──▶ four limit alarms ──▶ the worst that stands ──▶ lamp, tower, word

Everything is set in the bench file.  The setting `mistake` builds one fault into the logic
(hil.nodes.limit_alarm names them), so that one can see which proof finds it.
"""

import math
from collections.abc import Iterator, Mapping
from decimal import Decimal

from hil.core.instant import Duration, Instant, earliest
from hil.core.signal import Value
from hil.nodes.limit_alarm import MISTAKES, Limit, LimitAlarm
from hil.nodes.misfit import Misfit
from hil.nodes.model import Model, Surroundings
from hil.nodes.settings import Settings, place

DEFAULTS: Mapping[str, str] = {
    "firmware": "2.0.1",
    "mistake": "none",
    "lowest-trip": "400 mV",
    "low-trip": "1200 mV",
    "high-trip": "2800 mV",
    "highest-trip": "3600 mV",
    "dead-band": "40 mV",
    "low-off-delay": "150 ms",
    "high-on-delay": "200 ms",
    "highest-on-delay": "100 ms",
    "hold": "500 ms",
    "stale-after": "300 ms",
    "silent-after": "600 ms",
    "report-every": "100 ms",
    "boot-time": "200 ms",
    "fastest-answer": "1 ms",
    "slowest-answer": "6 ms",
}
POSITIVE = ("report-every", "boot-time")
ORDERED = (
    ("lowest-trip", "low-trip"),
    ("low-trip", "high-trip"),
    ("high-trip", "highest-trip"),
    ("stale-after", "silent-after"),
)

_COLOURS = {"lowest": "red", "low": "amber", "normal": "green", "high": "amber", "highest": "red"}
_SWAPPED = {"red": "amber", "amber": "red"}
_NO_DELAY = Duration(0)
_TOP, _SENTINEL, _FAR_OUT = 4095.0, 65535.0, 5000.0
_MEASURED = {"sentinel": _SENTINEL, "not-a-number": math.nan, "out-of-range": _FAR_OUT}
_NO_NUMBER = ("sentinel", "not-a-number")
_LATE = ("stale", "mute")


class AlarmGauge(Model):
    """The gauge; `level` is injected, the rest it decides."""

    signals = ("level", "lamp", "tower", "word", "acknowledge")
    faults = ("none", "sentinel", "not-a-number", "out-of-range", "stale", "mute")

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        settings = around.settings
        self._mistake = settings.text("mistake")
        self._hold = settings.duration("hold") if self._mistake != "no-hold" else _NO_DELAY
        self._stale_after = settings.duration("stale-after")
        self._silent_after = settings.duration("silent-after")
        self._alarms = [LimitAlarm(limit) for limit in _limits(settings, self._mistake)]
        rest = around.signal("level").drive
        self._level = rest.rest if rest is not None else Decimal(0)
        self._held_until = self._lost_at = Instant(0)

    def reset(self, now: Instant) -> None:
        """Lose everything but what the sensor is exposed to."""
        super().reset(now)
        for alarm in self._alarms:
            alarm.restart()
        self._held_until = Instant(now + self._hold)

    def start(self, now: Instant) -> None:
        self.reset(now)
        super().start(now)

    def command(self, name: str, value: Value, now: Instant) -> None:
        if name == "level":
            self._level = value
        elif name == "acknowledge" and value == "pressed" != self.values[name]:
            for alarm in self._alarms:
                alarm.acknowledge()
        elif name == "fault" and self.values["fault"] not in _LATE:
            self._lost_at = now
        if name != "level":
            self.values[name] = value

    def sample(self, now: Instant) -> bool:
        """Decide anew; return whether anything that is shown has changed."""
        before = dict(self.values)
        self.values["level"] = self._reported()
        look = self._look(now)
        colour = _COLOURS.get(look, "off" if look == "start-up" else "blue")
        swapped = _SWAPPED.get(colour, colour) if self._mistake == "tower-swapped" else colour
        self.values |= {"lamp": colour, "tower": swapped, "word": look}
        return self.values != before

    def _plan(self, now: Instant) -> None:
        """Wake exactly when a delay, the hold or an age is over."""
        ends = [alarm.due for alarm in self._alarms]
        if self.values["fault"] in _LATE:
            ends += [self._too_old(self._stale_after), self._too_old(self._silent_after)]
        coming = [end for end in (*ends, self._held_until) if end is not None and end > now]
        self._due = earliest(*coming)

    # --- deciding ------------------------------------------------------------------------------

    def _reported(self) -> Value | None:
        """Return what the reading says: no number where there is none."""
        fault = self.values["fault"]
        if fault in _NO_NUMBER:
            return None
        if fault == "out-of-range":
            return Decimal(int(_FAR_OUT))
        return self.values["level"] if fault in _LATE else self._level

    def _look(self, now: Instant) -> str:
        missing = self._missing(now)
        held = now < self._held_until
        for alarm in self._alarms:
            if held or missing:
                alarm.lose(now)
            else:
                alarm.look(self._measured(), now)
        if held or missing:
            return "start-up" if held else missing
        shown = [alarm for alarm in self._alarms if alarm.shown]
        return max(shown, key=lambda alarm: alarm.limit.severity).limit.name if shown else "normal"

    def _missing(self, now: Instant) -> str:
        """Name what is shown instead of a band; empty where there is a measurement."""
        fault = self.values["fault"]
        if fault in _LATE and self._mistake != "silence-ignored":
            if fault == "mute" and now >= self._too_old(self._silent_after):
                return "silent"
            return "stale" if now >= self._too_old(self._stale_after) else ""
        value = self._measured()
        if math.isnan(value) and self._mistake == "not-a-number-normal":
            return ""
        if value == _SENTINEL and self._mistake == "sentinel-alarm":
            return ""
        return "" if 0 <= value <= _TOP else "fault"

    def _measured(self) -> float:
        fault = self.values["fault"]
        if isinstance(fault, str) and fault in _MEASURED:
            return _MEASURED[fault]
        level = self.values["level"]
        return float(level) if isinstance(level, Decimal) else math.nan

    def _too_old(self, age: Duration) -> Instant:
        return Instant(self._lost_at + age + 1)


def misfits(settings: Mapping[str, str]) -> Iterator[Misfit]:
    """Name what is wrong with the words among the settings."""
    mistake = settings.get("mistake", "none")
    if mistake != "none" and mistake not in MISTAKES:
        what = f"software: mistake: there is no mistake called {mistake!r}"
        yield Misfit(what=what, hint=", ".join(["none", *MISTAKES]), place=place("mistake"))


def _limits(settings: Settings, mistake: str) -> Iterator[Limit]:
    band = settings.amount("dead-band")

    def limit(name: str, severity: int, on: str = "", off: str = "") -> Limit:
        trip, rising = settings.amount(f"{name}-trip"), name in ("high", "highest")
        clear = trip - band if rising else trip + band
        if name == "high":
            trip += {"edge-late": 1.0, "dead-band-inward": band}.get(mistake, 0.0)
            clear = trip - 1 if mistake == "no-dead-band" else clear
            clear = trip - band - 1 if mistake == "dead-band-inward" else clear
        if name == "low" and mistake == "edge-of-the-other":
            trip -= 1
        if name == "low" and mistake == "off-delay-ignored":
            off = ""
        return Limit(
            name=name,
            rising=rising,
            severity=severity,
            trip=trip,
            clear=clear,
            on_delay=settings.duration(on) if on else _NO_DELAY,
            off_delay=settings.duration(off) if off else _NO_DELAY,
            latched=name == "highest",
            adds_up=name == "high" and mistake == "delay-accumulated",
            forever=mistake == "latch-forever",
        )

    yield limit("lowest", 2)
    yield limit("low", 1, off="low-off-delay")
    yield limit("high", 1, on="high-on-delay")
    yield limit("highest", 2, on="highest-on-delay")
