"""Alarm specs and their proofs as the journal tells them."""

from dataclasses import dataclass
from typing import ClassVar

from hil.core.event.event import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmSpec(Event):
    """An alarm spec of this run, told before anything moves; numbers are text in `unit`.

    `low` and `high` are the range of the input.  `bands` are (name, colour, #rrggbb or empty,
    low, high, limits in words), from low to high.  `points` are (alarm, trip or reset, rising or
    falling, where it is specified); `searched` are (index of the case, alarm, trip or reset).
    """

    kind: ClassVar[str] = "alarm-spec"
    spec: str
    signal: str
    unit: str
    low: str
    high: str
    normal: str
    bands: tuple[tuple[str, str, str, str, str, str], ...]
    points: tuple[tuple[str, str, str, str], ...]
    searched: tuple[tuple[int, str, str], ...]
    tolerance: str
    rule: str
    place: str
    requirements: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmPoint(Event):
    """A trip or reset point was measured.

    `point` is trip or reset, `way` rising or falling: which way the input moved.  `wanted`,
    `low`, `high` (the interval in which it lies), `mean`, `spread`, `uncertainty` (expanded) and
    `difference` are numbers as text in `unit`, empty where nothing could be measured.  `repeats`
    is how many searches ended, `probes` how many probes the longest needed, `odd` the values
    whose answers did not fit, `rule` how it was decided.
    """

    kind: ClassVar[str] = "alarm-point"
    index: int
    step: int
    spec: str
    signal: str
    alarm: str
    point: str
    way: str
    wanted: str
    low: str
    high: str
    mean: str
    spread: str
    repeats: int
    probes: int
    odd: tuple[str, ...]
    uncertainty: str
    rule: str
    difference: str
    unit: str
    outcome: str
    text: str
    place: str
    requirements: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmProperty(Event):
    """One property of an alarm spec was proven, or not.

    `alarm` is the band it is about, empty for the whole spec; `measured` are (name, text) pairs;
    `outcome` may be `not run` where the proof was stopped before it could judge.
    """

    kind: ClassVar[str] = "alarm-property"
    index: int
    step: int
    spec: str
    signal: str
    alarm: str
    property: str
    outcome: str
    measured: tuple[tuple[str, str], ...]
    text: str
    place: str
    requirements: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmCoverage(Event):
    """How much of a spec was provoked.

    `what` is transitions (every ordered pair of bands) or alarms; `missing` names what was not.
    """

    kind: ClassVar[str] = "alarm-coverage"
    index: int
    step: int
    spec: str
    signal: str
    what: str
    covered: int
    of: int
    missing: tuple[str, ...]
    outcome: str
    text: str
    place: str
    requirements: tuple[str, ...]
