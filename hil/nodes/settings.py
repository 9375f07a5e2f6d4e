"""What can be set about the software rack, and its defaults.

Settings are written in the bench file under `software: settings:` as `number unit`, each with its
own unit and no other.  Reading them reports everything that is wrong at once.
"""

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from hil.core.instant import MILLISECOND, Duration
from hil.nodes.misfit import Misfit, MisfitError

DEFAULTS: Mapping[str, str] = {
    "firmware": "1.4.2",
    # the head unit's thresholds
    "feed-low": "1.00 bar",
    "feed-amber": "3.60 bar",
    "feed-red": "4.50 bar",
    "feed-dead-band": "0.15 bar",
    "level-dry": "10.0 %",
    "level-low": "25.0 %",
    "level-full": "90.0 %",
    "level-dead-band": "2.0 %",
    "dry-run-level": "5.0 %",
    "dry-run-dead-band": "2.0 %",
    "dry-run-delay": "300 ms",
    "dry-run-hold": "300 ms",
    "lamps-on": "400 lx",
    "lamps-off": "600 lx",
    "lamp-brightness": "80 %",
    "climate-band": "0.5 degC",
    "fan-floor": "20 %",
    "fan-gain": "10 %/degC",
    "fan-idle": "10 %",
    "stick-dead-zone": "10 %",
    "stick-travel": "45 deg",
    "sun-step": "0.5 deg",
    "silence": "500 ms",
    "decision-time": "3 ms",
    # actuators
    "vane-slew": "300 deg/s",
    "vane-lag": "20 ms",
    "fan-full-speed": "3000 rpm",
    "fan-lag": "150 ms",
    "strip-lag": "30 ms",
    # sensors; noise is the standard deviation
    "cistern-empty": "1500 mm",
    "cistern-full": "300 mm",
    "sensor-lag": "10 ms",
    "air-lag": "60 ms",
    "pressure-noise": "0.001 bar",
    "distance-noise": "0.1 mm",
    "light-noise": "0.2 lx",
    "temperature-noise": "0.01 degC",
    "humidity-noise": "0.05 %",
    "sun-noise": "0.02 deg",
    "barometer-noise": "0.02 hPa",
    "speed-noise": "1 rpm",
    # every node
    "report-every": "100 ms",
    "boot-time": "200 ms",
    "fastest-answer": "1 ms",
    "slowest-answer": "6 ms",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """What a family of models can be told: defaults, what must not be 0, what must be below what.

    `contradictions` are pairs of settings of which the first must be below the second.
    """

    defaults: Mapping[str, str]
    positive: tuple[str, ...]
    contradictions: tuple[tuple[str, str], ...]


GLASSHOUSE = Rules(
    defaults=DEFAULTS,
    positive=("vane-slew", "report-every", "boot-time", "decision-time", "silence"),
    contradictions=(
        ("feed-low", "feed-amber"),
        ("feed-amber", "feed-red"),
        ("level-dry", "level-low"),
        ("level-low", "level-full"),
        ("lamps-on", "lamps-off"),
        ("cistern-full", "cistern-empty"),
    ),
)


class Settings:
    """The settings of one rack, checked.  Raises MisfitError with every mistake."""

    def __init__(
        self, written: Mapping[str, str], file: str = "settings", rules: Rules = GLASSHOUSE
    ) -> None:
        self._rules = rules
        self._texts = {**rules.defaults, **written}
        self._numbers: dict[str, Decimal] = {}
        misfits = [
            Misfit(
                what=f"software: no setting is called {name!r}",
                hint=next(iter(difflib.get_close_matches(name, rules.defaults, 1)), ""),
                place=place(name),
            )
            for name in written
            if name not in rules.defaults
        ]
        for name, default in rules.defaults.items():
            if " " in default:
                problem = self._read(name, default.split(" ", 1)[1])
                if problem:
                    what, hint = f"software: {name}: {problem}", f"{name}: {default}"
                    misfits.append(Misfit(what=what, hint=hint, place=place(name)))
        misfits += [] if misfits else self._contradictions(written)
        if misfits:
            raise MisfitError(file, misfits)

    def text(self, name: str) -> str:
        """Return a setting as it is written."""
        return self._texts[name]

    def number(self, name: str) -> Decimal:
        """Return a setting's number, exact, in its own unit."""
        return self._numbers[name]

    def amount(self, name: str) -> float:
        """Return a setting's number for physics, where exactness does not matter."""
        return float(self._numbers[name])

    def duration(self, name: str) -> Duration:
        """Return a setting in milliseconds as a duration."""
        return Duration(int(self._numbers[name] * MILLISECOND))

    def _read(self, name: str, unit: str) -> str:
        """Read one setting; return what is wrong with it, or nothing."""
        number, _, written = self._texts[name].strip().partition(" ")
        if written.strip() != unit:
            return f"expected a number and {unit}, got {self._texts[name]!r}"
        try:
            value = Decimal(number)
        except InvalidOperation:
            return f"expected a number and {unit}, got {self._texts[name]!r}"
        if not value.is_finite() or abs(value) > 1_000_000:
            return f"{number} is no number a rack could work with"
        if value < 0 or (value == 0 and name in self._rules.positive):
            return f"{number} {unit} is too small"
        self._numbers[name] = value
        return ""

    def _contradictions(self, written: Mapping[str, str]) -> list[Misfit]:
        """Return the pairs that contradict each other, each at the one that is written."""
        return [
            Misfit(
                what=f"software: {low} must {word} {high}",
                place=place(low if low in written else high),
            )
            for low, high, word in self._pairs()
            if self.number(low) > self.number(high)
            or (self.number(low) == self.number(high) and word == "be below")
        ]

    def _pairs(self) -> Iterator[tuple[str, str, str]]:
        for low, high in self._rules.contradictions:
            yield low, high, "be below"
        yield "fastest-answer", "slowest-answer", "not be above"


def place(name: str) -> tuple[str, ...]:
    """Return where a setting stands in the bench file."""
    return ("software", "settings", name)
