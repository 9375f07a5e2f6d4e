"""Figures of checks, night after night, as the tables have them.

A trend over everything would read everything.  So the database first says which checks are worth
a closer look: those with the least margin in the newest run, and those whose margin fell most from
the oldest to the newest few runs (or whose latency rose most).  Only their series are read.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, and_, case, desc, func, select

from hil.history.runs import KeptRun
from hil.history.schema import ASKS, CASES, CHECKS, NODES, RESULTS

ENDS = 3
"""So many runs at either end of the time looked at are held against each other."""

_DAY = 86_400.0


class Of(Enum):
    """Which figure of a check."""

    MARGIN = "margin"
    LATENCY = "latency"
    VALUE = "value"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which checks somebody wants to see; empty texts are any.

    `case` and `plan` are parts of titles, `node` and `signal` are names.
    """

    case: str = ""
    plan: str = ""
    node: str = ""
    signal: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One night's figure; `day` counts from the first run looked at, in days."""

    run: KeptRun
    day: float
    figure: float
    outcome: str
    ask: int
    firmware: str
    serial: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One check with its points, the first night first; latencies are in ns.

    Below `low` and above `high` the figure is not allowed; None where the tables do not say.
    """

    check: int
    case: int
    plan: str
    title: str
    step: int
    signal: str
    form: str
    of: Of
    unit: str
    low: float | None
    high: float | None
    points: tuple[Point, ...]


def find_series(
    connection: Connection, runs: Sequence[KeptRun], wanted: Wanted, of: Of, most: int
) -> list[Series]:
    """Return the series of at most so many checks through these runs, the newest run first."""
    ids = [run.id for run in runs]
    if not ids:
        return []
    checks = _asked_for(connection, wanted, most)
    if checks is None:
        checks = _conspicuous(connection, ids, wanted, of, most)
    return _read(connection, checks, runs, of)


def _asked_for(connection: Connection, wanted: Wanted, most: int) -> list[int] | None:
    """Return the checks that fit, where they are so few that none has to be left out."""
    if wanted == Wanted():
        return None
    asked = _fitting(select(CHECKS.c.id), wanted).limit(most + 1)
    found = list(connection.scalars(asked))
    return found if len(found) <= most else None


def _conspicuous(
    connection: Connection, ids: Sequence[int], wanted: Wanted, of: Of, most: int
) -> list[int]:
    """Return the checks that are closest to their limits, and those that moved most."""
    figure = RESULTS.c[of.value]
    newest = select(RESULTS.c.check_id).where(RESULTS.c.run == ids[0], figure.is_not(None))
    newest = _of_checks(newest, wanted)
    if of is Of.LATENCY:
        newest = newest.join(ASKS, ASKS.c.id == RESULTS.c.ask_id)
        closest = newest.order_by(desc(1.0 * figure / ASKS.c.deadline))
    else:
        closest = newest.order_by(figure)
    found = dict.fromkeys(connection.scalars(closest.limit(most)))
    if len(ids) > ENDS:
        found |= dict.fromkeys(connection.scalars(_moved(ids, wanted, of).limit(most)))
    return list(found)


def _moved(ids: Sequence[int], wanted: Wanted, of: Of) -> "Select[Any]":
    """Ask for the checks whose margin fell most, or whose latency rose by the largest part."""
    figure, check = RESULTS.c[of.value], RESULTS.c.check_id
    new, old = list(ids[:ENDS]), list(ids[-ENDS:])
    then, now = _mean(figure, old), _mean(figure, new)
    worse = now / then if of is Of.LATENCY else then - now
    each = in_order_of_runs(check)
    both = select(each).where(RESULTS.c.run.in_([*new, *old]), figure.is_not(None))
    grouped = _of_checks(both, wanted).group_by(each)
    return grouped.having(worse > (1 if of is Of.LATENCY else 0)).order_by(desc(worse))


def in_order_of_runs(check: ColumnElement[int]) -> ColumnElement[int]:
    """Return a column to group by that no index has.

    SQLite otherwise reads all results in the order of checks, to spare itself the grouping of the
    few runs that are wanted.
    """
    return check + 0


def _mean(figure: ColumnElement[Any], runs: Sequence[int]) -> ColumnElement[float]:
    return func.avg(case((RESULTS.c.run.in_(runs), figure)))


def _of_checks(asked: "Select[Any]", wanted: Wanted) -> "Select[Any]":
    if wanted == Wanted():
        return asked
    return asked.where(RESULTS.c.check_id.in_(_fitting(select(CHECKS.c.id), wanted)))


def _fitting(asked: "Select[Any]", wanted: Wanted) -> "Select[Any]":
    if wanted.case or wanted.plan:
        asked = asked.join(CASES, CASES.c.id == CHECKS.c.case_id)
    for column, text in ((CASES.c.title, wanted.case), (CASES.c.plan, wanted.plan)):
        if text:
            asked = asked.where(column.icontains(text, autoescape=True))
    if wanted.node:
        asked = asked.where(CHECKS.c.node == wanted.node)
    if wanted.signal:
        asked = asked.where(CHECKS.c.signal == wanted.signal)
    return asked


def _read(
    connection: Connection, checks: Sequence[int], runs: Sequence[KeptRun], of: Of
) -> list[Series]:
    if not checks:
        return []
    figure = RESULTS.c[of.value]
    columns = (
        *(CHECKS.c[name] for name in ("id", "case_id", "step", "signal", "form")),
        *(CASES.c[name] for name in ("plan", "title")),
        *(RESULTS.c[name] for name in ("run", "outcome", "ask_id")),
        figure.label("figure"),
        *(ASKS.c[name] for name in ("unit", "deadline", "low", "high")),
        *(NODES.c[name] for name in ("firmware", "serial")),
    )
    own_node = and_(NODES.c.run == RESULTS.c.run, NODES.c.node == CHECKS.c.node)
    asked = (
        select(*columns)
        .select_from(RESULTS)
        .join(CHECKS, CHECKS.c.id == RESULTS.c.check_id)
        .join(CASES, CASES.c.id == CHECKS.c.case_id)
        .join(ASKS, ASKS.c.id == RESULTS.c.ask_id)
        .join(NODES, own_node, isouter=True)
        .where(RESULTS.c.check_id.in_(checks), RESULTS.c.run.in_([run.id for run in runs]))
        .where(figure.is_not(None))
        .order_by(RESULTS.c.check_id, RESULTS.c.run, RESULTS.c.attempt)
    )
    rows: dict[int, list[Any]] = {check: [] for check in checks}
    for row in connection.execute(asked):
        rows[row.id].append(row)
    return [_series(found, runs, of) for found in rows.values() if found]


def _series(rows: Sequence[Any], runs: Sequence[KeptRun], of: Of) -> Series:
    order = {run.id: place for place, run in enumerate(reversed(runs))}
    by_id = {run.id: run for run in runs}
    begin = min(_moment(run) for run in runs)
    ordered = sorted(rows, key=lambda row: order[row.run])
    last = ordered[-1]
    low, high = {
        Of.MARGIN: (0.0, None),
        Of.LATENCY: (None, last.deadline),
        Of.VALUE: (last.low, last.high),
    }[of]
    return Series(
        check=last.id,
        case=last.case_id,
        plan=last.plan,
        title=last.title,
        step=last.step,
        signal=last.signal,
        form=last.form,
        of=of,
        unit=last.unit,
        low=low,
        high=high,
        points=tuple(
            Point(
                run=by_id[row.run],
                day=(_moment(by_id[row.run]) - begin) / _DAY,
                figure=float(row.figure),
                outcome=row.outcome,
                ask=row.ask_id,
                firmware=row.firmware or "",
                serial=row.serial or "",
            )
            for row in ordered
        ),
    )


def _moment(run: KeptRun) -> float:
    return datetime.fromisoformat(run.started).timestamp()
