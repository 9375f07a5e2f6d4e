"""A journal → what is kept of its run.

The journal of a run that is still going on, or was killed, gives what it has judged so far.  A run
is known by computer, name and the first line of its journal: kept again, it replaces itself.
"""

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from hil.core.error import DescriptionError, Mark, Mistake
from hil.core.event import (
    AlarmPoint,
    AlarmSpec,
    CaseStarted,
    CheckDecided,
    Event,
    NodeIdentified,
    render,
)
from hil.files.duration import read_duration
from hil.files.mistake import Misread
from hil.history.form import form_of, measured, number_equals
from hil.report import journal
from hil.report.about import About, read_about
from hil.report.journal import JournalReader
from hil.report.result import RunResult
from hil.report.tally import Tally
from hil.report.visible import visible_line

UNKNOWN_START = "1970-01-01T00:00:00Z"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One check's result; `nth` tells it from others of the same form, times are in ns.

    `low` and `high` are the range in which its value had to be, `deadline` when at the latest.
    """

    index: int
    attempt: int
    step: int
    signal: str
    node: str
    form: str
    nth: int
    wanted: str
    due: str
    deadline: int | None
    low: float | None
    high: float | None
    outcome: str
    got: str
    value: float | None
    unit: str
    margin: float | None
    latency: int | None
    figures: tuple[tuple[str, float, float, float | None, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRecord:
    """Everything that is kept of one run."""

    key: str
    name: str
    about: About | None
    result: RunResult
    checks: tuple[Outcome, ...]
    identities: dict[str, NodeIdentified] = field(default_factory=dict)

    @property
    def started(self) -> str:
        """When it began, UTC."""
        return UNKNOWN_START if self.about is None else self.about.started


def record_of(folder: Path) -> RunRecord:
    """Read what is to be kept of the run in a folder.  Raises DescriptionError, StoreError."""
    about = read_about(folder)
    events = JournalReader(folder / journal.NAME, datagrams=False)
    name = folder.resolve().name if about is None else about.run
    return recorded(events, name, about)


def recorded(events: Iterable[Event], name: str, about: About | None) -> RunRecord:
    """Fold a journal into what is kept.  Raises DescriptionError where it tells of no run."""
    tally = Tally(None if about is None else about.started[:10])
    fold = _Checks()
    identities: dict[str, NodeIdentified] = {}
    for event in events:
        tally.receive(event)
        fold.receive(event)
        if isinstance(event, NodeIdentified):
            identities[event.node] = event
    result = tally.result()
    if result.started is None:
        what = f"nothing to keep: the journal of {name} tells of no run"
        raise DescriptionError([Mistake(Mark(name), what)])
    host = "" if about is None else about.host
    first = hashlib.sha256(f"{host}\0{name}\0{render(result.started)}".encode()).hexdigest()
    return RunRecord(
        key=first[:32],
        name=name,
        about=about,
        result=result,
        checks=tuple(fold.result()),
        identities=identities,
    )


class _Checks:
    """Gathers the checks of each attempt, and the points of alarm specs among them."""

    def __init__(self) -> None:
        self._attempts: dict[int, int] = {}
        self._checks: dict[tuple[int, int], list[CheckDecided]] = {}
        self._specs: dict[str, AlarmSpec] = {}
        self._points: dict[tuple[int, int, str, str], tuple[int, AlarmPoint]] = {}

    def receive(self, event: Event) -> None:
        match event:
            case CheckDecided():
                key = (event.index, self._attempts.get(event.index, 1))
                self._checks.setdefault(key, []).append(event)
            case CaseStarted():
                self._attempts[event.index] = event.attempt
            case AlarmSpec():
                self._specs[event.spec] = event
            case AlarmPoint():
                attempt = self._attempts.get(event.index, 1)
                key_of_point = (event.index, attempt, event.alarm, event.point)
                self._points[key_of_point] = (attempt, event)

    def result(self) -> Iterator[Outcome]:
        """Yield every check with what tells it from others."""
        for (index, attempt), checks in self._checks.items():
            for check, nth in zip(checks, number_equals(checks), strict=True):
                yield _outcome(check, index, attempt, nth)
        for attempt, point in self._points.values():
            yield _point(point, attempt, self._specs.get(point.spec))


def _outcome(check: CheckDecided, index: int, attempt: int, nth: int) -> Outcome:
    value, unit = measured(check.got)
    if check.figures:
        _, _, value, _, unit = check.figures[0]
    return Outcome(
        index=index,
        attempt=attempt,
        step=check.step,
        signal=visible_line(check.signal),
        node=check.node,
        form=visible_line(form_of(check.wanted, check.when)),
        nth=nth,
        wanted=visible_line(check.wanted),
        due=visible_line(check.when),
        deadline=_deadline(check),
        low=_end(check, 1),
        high=_end(check, 2),
        outcome=check.outcome,
        got=visible_line(check.got),
        value=value,
        unit=unit,
        margin=check.margin,
        latency=_latency(check),
        figures=check.figures,
    )


def _latency(check: CheckDecided) -> int | None:
    """Return how long the response took at most; a precondition is no response."""
    if check.step == 0 or not check.when.startswith("within"):
        return None
    if check.change is not None:
        return check.change[1]
    return check.elapsed if check.outcome == "pass" else None


def _deadline(check: CheckDecided) -> int | None:
    if check.step == 0 or not check.when.startswith("within "):
        return None
    told = dict(check.timing).get("within")
    if told is not None:
        return told
    try:
        return read_duration(check.when.removeprefix("within ").split(",")[0])
    except Misread:
        return None


def _end(check: CheckDecided, place: int) -> float | None:
    """Return an end of the range in which the value had to be; None where it has none.

    What had to stay unchanged has another range every night.
    """
    if check.wanted.startswith("unchanged"):
        return None
    if len(check.limits) < 3 or check.limits[0] != "between" or check.figures:
        return None
    return measured(check.limits[place])[0]


def _point(point: AlarmPoint, attempt: int, spec: AlarmSpec | None) -> Outcome:
    """Return a trip or reset point as a check of its own: where it lies drifts as well."""
    tolerance = None if spec is None else measured(spec.tolerance)[0]
    off = measured(point.difference)[0]
    margin = None
    if tolerance and off is not None:
        margin = 1 - abs(off) / tolerance
    return Outcome(
        index=point.index,
        attempt=attempt,
        step=point.step,
        signal=point.signal,
        node=point.signal.split(".", 1)[0],
        form=visible_line(f"{point.spec}: {point.alarm} {point.point}"),
        nth=1,
        wanted=f"{point.wanted} {point.unit}".strip(),
        due=point.point,
        deadline=None,
        low=None,
        high=None,
        outcome=point.outcome,
        got=f"{point.mean} {point.unit}".strip() if point.mean else "",
        value=measured(point.mean)[0],
        unit=point.unit,
        margin=margin,
        latency=None,
    )
