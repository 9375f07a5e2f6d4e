"""The sections of the page by the events they show; a template of the same name sets each.

alarm specs    points with their picture, properties, coverage
measures       the figures of responses, trials, relations, clocks
trials         how often, how fast
bus            what interfaces and nodes told of the segment, and what a simulated one carried
course         how the health of the bus went over the run (hil.report.page.bus_course)
"""

from typing import ClassVar

from hil.core.event import (
    AlarmCoverage,
    AlarmProperty,
    BusHealth,
    CheckDecided,
    Event,
    SegmentSeen,
    TrialEnded,
)
from hil.report.page.bus_course import BusCourse
from hil.report.page.section import Section, Shown
from hil.report.page.spread import Spread
from hil.report.result import RunResult

ROWS = 200
"""So many rows of a section are shown; the journal has all of them."""


class Alarms:
    """The points of alarm specs, and the properties that were proven."""

    kinds: ClassVar[frozenset[str]] = frozenset({AlarmProperty.kind, AlarmCoverage.kind})
    name: ClassVar[str] = "alarms"
    title: ClassVar[str] = "Alarm specs"

    def __init__(self) -> None:
        self._properties: dict[tuple[int, int, str, str], AlarmProperty] = {}
        self._coverage: dict[tuple[int, int, str], AlarmCoverage] = {}

    def receive(self, event: Event) -> None:
        if isinstance(event, AlarmProperty):
            key = (event.index, event.step, event.alarm, event.property)
            self._properties[key] = event
        elif isinstance(event, AlarmCoverage):
            self._coverage[event.index, event.step, event.what] = event

    def shown(self, result: RunResult) -> Shown | None:
        specs = [spec for spec in result.alarms if spec.rows]
        if not specs and not self._properties and not self._coverage:
            return None
        return {
            "specs": specs,
            "properties": list(self._properties.values())[:ROWS],
            "more": max(0, len(self._properties) - ROWS),
            "coverage": list(self._coverage.values()),
        }


class Measures:
    """The figures that measures have found."""

    kinds: ClassVar[frozenset[str]] = frozenset({CheckDecided.kind})
    name: ClassVar[str] = "measures"
    title: ClassVar[str] = "Measures"

    def __init__(self) -> None:
        self._checks: list[CheckDecided] = []
        self._more = 0

    def receive(self, event: Event) -> None:
        if not isinstance(event, CheckDecided) or not event.figures:
            return
        if len(self._checks) < ROWS:
            self._checks.append(event)
        else:
            self._more += 1

    def shown(self, result: RunResult) -> Shown | None:
        if not self._checks:
            return None
        titles = {case.index: case.title for case in result.cases}
        return {
            "checks": [(titles.get(check.index, ""), check) for check in self._checks],
            "more": self._more,
        }


class Trials:
    """Steps that were tried many times: how often they passed, and how long they took."""

    kinds: ClassVar[frozenset[str]] = frozenset({TrialEnded.kind})
    name: ClassVar[str] = "trials"
    title: ClassVar[str] = "Trials"

    def __init__(self) -> None:
        self._spreads: dict[tuple[int, int], Spread] = {}

    def receive(self, event: Event) -> None:
        if isinstance(event, TrialEnded):
            self._spreads.setdefault((event.index, event.step), Spread()).receive(event)

    def shown(self, result: RunResult) -> Shown | None:
        if not self._spreads:
            return None
        titles = {case.index: case.title for case in result.cases}
        rows = [
            (titles.get(index, ""), step, spread)
            for (index, step), spread in list(self._spreads.items())[:ROWS]
        ]
        return {"rows": rows, "more": max(0, len(self._spreads) - ROWS)}


class Bus:
    """The segment: facts before and after, shares of a simulated one."""

    kinds: ClassVar[frozenset[str]] = frozenset({BusHealth.kind, SegmentSeen.kind})
    name: ClassVar[str] = "bus"
    title: ClassVar[str] = "The bus"

    def __init__(self) -> None:
        self._facts: dict[str, list[BusHealth]] = {}
        self._segment: SegmentSeen | None = None

    def receive(self, event: Event) -> None:
        if isinstance(event, BusHealth):
            self._facts.setdefault(event.who, []).append(event)
        elif isinstance(event, SegmentSeen):
            self._segment = event

    def shown(self, result: RunResult) -> Shown | None:
        if not self._facts and self._segment is None:
            return None
        return {
            "facts": [(who, _before_and_after(told)) for who, told in self._facts.items()],
            "segment": self._segment,
        }


SECTIONS: tuple[type[Section], ...] = (Alarms, Measures, Trials, Bus, BusCourse)


def _before_and_after(told: list[BusHealth]) -> list[tuple[str, str, str]]:
    """Return what was told first and last, as (what, before, after)."""
    first, last = dict(told[0].facts), dict(told[-1].facts)
    if len(told) == 1:
        return [(what, how, "") for what, how in first.items()]
    return [(what, first.get(what, ""), last.get(what, "")) for what in {**first, **last}]
