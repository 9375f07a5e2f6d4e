"""A record → the tables.  The same run replaces itself; everything or nothing is written."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, delete, insert, select

from hil.core.verdict import Outcome
from hil.history.place import Place
from hil.history.record import RunRecord, record_of
from hil.history.schema import (
    ASKS,
    CASE_RESULTS,
    CASES,
    CHECKS,
    FAULTS,
    FIGURES,
    NODES,
    OF_RUN,
    PLANS,
    RESULTS,
    RUNS,
)
from hil.history.shelf import Shelf
from hil.report.result import CaseResult
from hil.report.visible import visible_line

Row = dict[str, Any]
Key = tuple[Any, ...]

_AT_ONCE = 500  # values in one IN (...); SQLite takes 32,766, PostgreSQL 65,535
_LONGEST = 400  # characters of a reason that are kept
_UNCLEAR = (Outcome.INCONCLUSIVE, Outcome.ERROR, Outcome.UNSTABLE)


def keep_run(place: Place, folder: Path) -> str:
    """Keep the run in a folder; return its key.  Raises DescriptionError and StoreError."""
    record = record_of(folder)
    with closing(Shelf(place)) as shelf, shelf.writing() as connection:
        keep(connection, record)
    return record.key


def keep(connection: Connection, record: RunRecord) -> int:
    """Write a record within the caller's transaction; return the number of its run."""
    run = _run_number(connection, record)
    result, started = record.result, record.result.started
    assert started is not None
    titles = {file: title for title, file, _ in started.plans}
    _put(connection, PLANS, [{"run": run, "title": t, "digest": d} for t, _, d in started.plans])
    _put(connection, NODES, _nodes(run, record))
    _put(connection, FAULTS, _faults(run, record))
    cases = [
        (visible_line(titles.get(case.plan, case.plan)), visible_line(case.title))
        for case in result.cases
    ]
    numbers = _numbers(connection, CASES, ("plan", "title"), cases, "plan")
    of_index = {case.index: numbers[key] for case, key in zip(result.cases, cases, strict=True)}
    _put(connection, CASE_RESULTS, [_case(run, of_index[c.index], c) for c in result.cases])
    _put_checks(connection, run, record, of_index)
    return run


def _run_number(connection: Connection, record: RunRecord) -> int:
    """Return the number of the run's row, new, or its own again with everything of it gone."""
    old = connection.scalar(select(RUNS.c.id).where(RUNS.c.key == record.key))
    row = _clean(_run(record))
    if old is not None:
        for table in OF_RUN:
            connection.execute(delete(table).where(table.c.run == old))
        connection.execute(delete(RUNS).where(RUNS.c.id == old))
        row["id"] = old
    made = connection.execute(insert(RUNS).values(**row))
    key = made.inserted_primary_key
    assert key is not None
    return int(key[0])


def _run(record: RunRecord) -> Row:
    result, about, started = record.result, record.about, record.result.started
    assert started is not None
    counts = result.counts()
    return {
        "key": record.key,
        "name": record.name,
        "started": record.started,
        "host": "" if about is None else about.host,
        "bench": started.bench,
        "virtual": started.virtual,
        "bench_file": started.bench_file,
        "bench_digest": started.bench_digest,
        "tool": started.tool,
        "interface": "" if about is None else about.interface,
        "stamps": started.stamps,
        "ended": result.ended is not None,
        "aborted": "" if result.ended is None else result.ended.aborted,
        "safe": result.safe,
        "outcome": result.outcome().word,
        "cases": len(result.cases),
        "passed": counts[Outcome.PASS],
        "known": counts[Outcome.KNOWN],
        "failed": counts[Outcome.FAIL],
        "unclear": sum(counts[each] for each in _UNCLEAR),
        "left_out": counts[Outcome.SKIPPED] + counts[Outcome.NOT_RUN],
    }


def _nodes(run: int, record: RunRecord) -> list[Row]:
    judged = {node.name: node for node in record.result.nodes}
    rows = []
    for name in sorted(judged | record.identities):
        node, told = judged.get(name), record.identities.get(name)
        counts: Counter[Outcome] = Counter() if node is None else node.counts
        rows.append(
            {
                "run": run,
                "node": name,
                "serial": "" if told is None else told.serial,
                "firmware": "" if told is None else told.firmware,
                "boots": None if told is None else told.boots,
                "checks": counts.total(),
                "failed": counts[Outcome.FAIL],
                "margin": None if node is None else node.margin,
                "closest": "" if node is None else node.closest,
            }
        )
    return rows


def _faults(run: int, record: RunRecord) -> list[Row]:
    return [
        {
            "run": run,
            "number": number,
            "fault": one.fault.fault,
            "reference": one.fault.reference,
            "reason": one.fault.reason,
            "plan": one.fault.plan,
            "title": one.fault.case,
            "signal": one.fault.signal,
            "until": one.fault.until,
            "standing": f"{one.standing.value}{', over' if one.over else ''}",
        }
        for number, one in enumerate(record.result.known)
    ]


def _case(run: int, number: int, case: CaseResult) -> Row:
    outcome = case.outcome
    reason = "" if outcome is Outcome.PASS else next(iter(case.reasons), "")
    return {
        "run": run,
        "case_id": number,
        "outcome": outcome.word,
        "attempts": len(case.attempts),
        "took": case.took,
        "reason": reason[:_LONGEST],
        "place": case.place,
    }


def _put_checks(
    connection: Connection, run: int, record: RunRecord, of_index: Mapping[int, int]
) -> None:
    checks = [check for check in record.checks if check.index in of_index]
    keys = [(of_index[c.index], c.step, c.signal, c.form, c.nth) for c in checks]
    nodes = {key: check.node for key, check in zip(keys, checks, strict=True)}
    names = ("case_id", "step", "signal", "form", "nth")
    numbers = _numbers(connection, CHECKS, names, keys, "case_id", {"node": nodes})
    asked = [(check.wanted, check.due, check.unit) for check in checks]
    more = {
        name: {key: getattr(check, name) for key, check in zip(asked, checks, strict=True)}
        for name in ("deadline", "low", "high")
    }
    asks = _numbers(connection, ASKS, ("wanted", "due", "unit"), asked, "wanted", more)
    results, figures = [], []
    for check, key, ask in zip(checks, keys, asked, strict=True):
        own = {"run": run, "check_id": numbers[key], "attempt": check.attempt}
        facts = {
            "ask_id": asks[ask],
            "outcome": check.outcome,
            "got": check.got,
            "value": check.value,
            "margin": check.margin,
            "latency": check.latency,
        }
        results.append(own | facts)
        for name, low, likely, high, unit in check.figures:
            found = {"name": name, "low": low, "likely": likely, "high": high, "unit": unit}
            figures.append(own | found)
    _put(connection, RESULTS, results)
    _put(connection, FIGURES, figures)


def _numbers(
    connection: Connection,
    table: Table,
    names: Sequence[str],
    keys: Iterable[Key],
    by: str,
    more: Mapping[str, Mapping[Key, Any]] | None = None,
) -> dict[Key, int]:
    """Return the number of every key; those not there yet are made, with `more` about them.

    `by` is the column by which they are looked up.
    """
    wanted = dict.fromkeys(keys)
    groups = list(dict.fromkeys(key[list(names).index(by)] for key in wanted))
    found = _find(connection, table, names, by, groups)
    missing = [key for key in wanted if key not in found]
    if missing:
        extra = more or {}
        rows = [
            dict(zip(names, key, strict=True))
            | {name: values[key] for name, values in extra.items()}
            for key in missing
        ]
        _put(connection, table, rows)
        found = _find(connection, table, names, by, groups)
    return {key: found[key] for key in wanted}


def _find(
    connection: Connection, table: Table, names: Sequence[str], by: str, groups: Sequence[Any]
) -> dict[Key, int]:
    columns = [table.c[name] for name in names]
    found: dict[Key, int] = {}
    for first in range(0, len(groups), _AT_ONCE):
        some = groups[first : first + _AT_ONCE]
        rows = connection.execute(select(table.c.id, *columns).where(table.c[by].in_(some)))
        found.update((tuple(row[1:]), row[0]) for row in rows)
    return found


def _put(connection: Connection, table: Table, rows: list[Row]) -> None:
    """Write rows; of several with one key, which only a damaged journal has, the last one."""
    names = [column.name for column in table.primary_key]
    cleaned = [_clean(row) for row in rows]
    if all(name in row for row in cleaned[:1] for name in names):
        cleaned = list({tuple(row[name] for name in names): row for row in cleaned}.values())
    if cleaned:
        connection.execute(insert(table), cleaned)


def _clean(row: Row) -> Row:
    """Return a row whose texts every database takes: PostgreSQL refuses NUL and lone surrogates."""
    return {
        name: visible_line(value) if type(value) is str else value for name, value in row.items()
    }
