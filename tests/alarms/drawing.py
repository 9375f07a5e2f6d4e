"""Alarm specs on paper, for tests."""

from decimal import Decimal

from hil.alarms.edge import edges
from hil.alarms.indicator import Cue, Indicator, Labels
from hil.alarms.spec import (
    AfterFault,
    Band,
    ClearsAt,
    Counting,
    Delay,
    NoReading,
    Rule,
    Spec,
    StartUp,
    Tolerance,
    Width,
)
from hil.core.error import Mark
from hil.core.instant import SECOND, Duration, Instant
from hil.core.signal import Kind, Sample, Signal, Validity

MARK = Mark("alarms.yaml", 1, 1)
INPUT = "feedline.pressure"
LAMP = "beacon.lamp"


def dec(text: str | int | None) -> Decimal | None:
    return None if text is None else Decimal(text)


def seconds(count: float) -> Duration:
    return Duration(round(count * SECOND))


def width(amount: str, level_clears: bool = True) -> Width:
    return Width(amount=Decimal(amount), level_clears=level_clears, mark=MARK)


def clears_at(level: str, level_clears: bool = True) -> ClearsAt:
    return ClearsAt(level=Decimal(level), level_clears=level_clears, mark=MARK)


def delay(
    length: float, counting: Counting = Counting.UNBROKEN, dead_band_counts: bool = False, **more
) -> Delay:
    return Delay(
        length=seconds(length),
        counting=counting,
        dead_band_counts=dead_band_counts,
        mark=MARK,
        **more,
    )


def band(
    name: str,
    low: str | int | None,
    high: str | int | None,
    colour: str = "",
    owns: str = "low",
    **more,
) -> Band:
    """Make a band; `owns` names the edges it owns: low, high, both or none."""
    return Band(
        name=name,
        colour=colour or name,
        low=dec(low),
        high=dec(high),
        low_included=owns in ("low", "both"),
        high_included=owns in ("high", "both"),
        mark=MARK,
        **more,
    )


def no_reading(**more) -> NoReading:
    given = {
        "fault_colour": "blue",
        "stale_colour": "blue",
        "silent_colour": "blue",
        "stale_after": None,
        "silent_after": None,
        "after": AfterFault.KEPT,
        "mark": MARK,
    }
    return NoReading(**(given | more))


def start_up(hold: float = 0, colour: str = "off") -> StartUp:
    return StartUp(colour=colour, hold=seconds(hold), mark=MARK)


def tolerance(level: str = "0", time: float = 0, rule: Rule = Rule.SIMPLE) -> Tolerance:
    return Tolerance(level=Decimal(level), time=seconds(time), rule=rule, mark=MARK)


COLOURS = {
    "low": "amber",
    "green": "green",
    "amber": "amber",
    "red": "red",
    "fault": "blue",
    "stale": "blue",
    "silent": "blue",
    "start-up": "off",
}


def lamp(wanted: dict[str, str] = COLOURS, cue: Cue = Cue.COLOUR, path: str = LAMP) -> Indicator:
    return Indicator(signals=(path,), how=Labels(wanted=wanted, cue=cue), mark=MARK)


def spec(*bands: Band, normal: str = "green", low="0", high="10", **more) -> Spec:
    given = {
        "name": "feed pressure",
        "signal": INPUT,
        "unit": "bar",
        "displayed_decides": False,
        "no_reading": no_reading(),
        "start_up": start_up(),
        "indicators": (),
        "agreement": seconds(0.5),
        "tolerance": tolerance(),
        "mark": MARK,
    }
    return Spec(bands=bands, normal=normal, low=Decimal(low), high=Decimal(high), **(given | more))


def feed(**more) -> Spec:
    """Make the demo's feed pressure: amber from 1.00 bar down, from 3.60 up, red from 4.50 up."""
    given = {"indicators": (lamp(),), "quantity": "pressure"}
    return spec(
        band("low", None, "1.00", "amber", "high", dead_band=width("0.15")),
        band("green", "1.00", "3.60", owns="none"),
        band("amber", "3.60", "4.50", dead_band=width("0.15")),
        band("red", "4.50", None, dead_band=width("0.15")),
        **(given | more),
    )


def high_alarm(trip: str, low="0", high="1000", owns_trip: bool = True, **more) -> Spec:
    """Make a spec of one high alarm, `red`; `more` goes to the band."""
    return spec(
        band("green", None, trip, owns="none" if owns_trip else "high"),
        band("red", trip, None, owns="low" if owns_trip else "none", **more),
        low=low,
        high=high,
    )


def only_edge(described: Spec):
    (edge,) = edges(described)
    return edge


def pressure(**more) -> Signal:
    given = {
        "node": "feedline",
        "name": "pressure",
        "kind": Kind.NUMBER,
        "unit": "bar",
        "low": Decimal(0),
        "high": Decimal(10),
        "resolution": Decimal("0.01"),
        "accuracy": Decimal("0.02"),
        "noise": Decimal("0.01"),
    }
    return Signal(**(given | more))


def reading(value: str | int | None, at: int, signal: str = INPUT) -> Sample:
    """Make a sample at `at` ns; None is a sensor fault, `stale` a stale one."""
    validity, carried = Validity.VALID, None
    if value is None:
        validity = Validity.INVALID
    elif value == "stale":
        validity = Validity.STALE
    elif signal == INPUT:
        carried = Decimal(value)
    else:
        carried = value
    return Sample(signal, carried, validity, Instant(at), Instant(at))
