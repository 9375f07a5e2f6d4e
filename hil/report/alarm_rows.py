"""The points of alarm specs as a journal tells them: one row for each that was to be searched.

A point that was to be searched and was not is a row as well, `not run`.  A point that was searched
again in the same case (another attempt) counts once, as the last one.
"""

import re
from dataclasses import dataclass, field

from hil.core.event import AlarmPoint, AlarmSpec, Event
from hil.core.verdict import Outcome

_LONGEST_NAME = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class ProvenSpec:
    """One alarm spec: its rows in the order of the run, and what it is, where that was told.

    `picture` is the name of its picture's file, one of its own within the run.
    """

    name: str
    signal: str
    unit: str
    told: AlarmSpec | None
    rows: tuple[AlarmPoint, ...]
    picture: str


@dataclass(slots=True)
class _Found:
    told: AlarmSpec | None = None
    points: dict[tuple[int, int, str, str], AlarmPoint] = field(default_factory=dict)


class AlarmFold:
    """Takes in the events of a run one at a time; all but those of alarms are passed over."""

    def __init__(self) -> None:
        self._found: dict[tuple[str, str], _Found] = {}

    def receive(self, event: Event) -> None:
        """Take in the next event."""
        if isinstance(event, AlarmSpec):
            self._of(event).told = event
        elif isinstance(event, AlarmPoint):
            key = (event.index, event.step, event.alarm, event.point)
            self._of(event).points[key] = event

    def result(self) -> tuple[ProvenSpec, ...]:
        """Return every spec with its rows, in the order in which they were told."""
        taken: set[str] = set()
        return tuple(_proven(found, taken) for found in self._found.values())

    def _of(self, event: AlarmSpec | AlarmPoint) -> _Found:
        file = event.place.rsplit(":", 2)[0]
        return self._found.setdefault((file, event.spec), _Found())


def outcome_of(row: AlarmPoint) -> Outcome:
    """Return the verdict of a row; a word that is none is an error."""
    try:
        return Outcome(row.outcome)
    except ValueError:
        return Outcome.ERROR


def _proven(found: _Found, taken: set[str]) -> ProvenSpec:
    first = found.told or next(iter(found.points.values()))
    done = {(row.index, row.alarm, row.point) for row in found.points.values()}
    rows = list(found.points.values())
    if found.told is not None:
        rows += [_unsearched(found.told, *one) for one in found.told.searched if one not in done]
        rows.sort(key=lambda row: (row.index, row.step))
    return ProvenSpec(
        name=first.spec,
        signal=first.signal,
        unit=first.unit,
        told=found.told,
        rows=tuple(rows),
        picture=_file_name(first.spec, taken),
    )


def _unsearched(told: AlarmSpec, index: int, alarm: str, point: str) -> AlarmPoint:
    """Return the row of a point that was not come to."""
    known = {(one[0], one[1]): (one[2], one[3]) for one in told.points}
    way, wanted = known.get((alarm, point), ("", ""))
    return AlarmPoint(
        at=told.at,
        index=index,
        step=1,
        spec=told.spec,
        signal=told.signal,
        alarm=alarm,
        point=point,
        way=way,
        wanted=wanted,
        low="",
        high="",
        mean="",
        spread="",
        repeats=0,
        probes=0,
        odd=(),
        uncertainty="",
        rule=told.rule,
        difference="",
        unit=told.unit,
        outcome=Outcome.NOT_RUN.word,
        text="it was not searched",
        place=told.place,
        requirements=told.requirements,
    )


def _file_name(name: str, taken: set[str]) -> str:
    """Return a file name of its own for a spec; names that differ by signs only are counted."""
    slug = re.sub(r"[\W_]+", "-", name.lower()).strip("-")[:_LONGEST_NAME].rstrip("-") or "spec"
    made, count = slug, 1
    while made in taken:
        count += 1
        made = f"{slug}-{count}"
    taken.add(made)
    return f"alarm-{made}.svg"
