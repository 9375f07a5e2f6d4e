"""What changed, asked of the tables.

Without an older run every case is held against the last run of the same rack that judged it, so
that a run of one plan at noon does not hide what the night has found.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, func, select

from hil.history.change import Change, Changes, Kind, MarkChange, Slower, compare
from hil.history.passages import JUDGED, Passage, passages_of_cases, passages_of_run, streak
from hil.history.runs import KeptRun, before, identities, plan_digests
from hil.history.schema import CASE_RESULTS, CASES, CHECKS, FAULTS, RESULTS, RUNS
from hil.history.series import in_order_of_runs
from hil.measure.baseline import is_above

USUAL = 20
"""So many runs before say how long a response usually takes, and how much that varies."""

LEAST = 5
_AT_ONCE = 500

BACK = 50
"""So far back one looks for the last verdict of a case, and for the beginning of a streak."""


def changes(connection: Connection, newer: KeptRun, older: KeptRun | None = None) -> Changes:
    """Return what changed in a run, against another one or against what was before it."""
    past = before(connection, newer, BACK)
    now = {passage.case: passage for passage in passages_of_run(connection, newer)}
    if older is None:
        then = _last_verdicts(connection, now, past)
        reference = past[0] if past else None
        usual = past[:USUAL]
    else:
        then = {passage.case: passage for passage in passages_of_run(connection, older)}
        reference = older
        usual = [older, *before(connection, older, USUAL - 1)]
    never = [case for case, passage in now.items() if not passage.judged and case not in then]
    cases = compare(then, now, _ever_judged(connection, never, newer))
    slower, unsure = _slower(connection, newer, usual)
    return Changes(
        older=reference,
        newer=newer,
        cases=tuple(_with_streaks(connection, cases, newer, past)),
        slower=tuple(slower),
        marks=tuple(_marks(connection, newer, reference)),
        notes=tuple(_notes(connection, newer, reference)),
        unsure=unsure,
    )


def _last_verdicts(
    connection: Connection, now: Mapping[int, Passage], past: Sequence[KeptRun]
) -> dict[int, Passage]:
    """Return the last verdict of every case, and of others of its plans in the run before."""
    found: dict[int, Passage] = {}
    plans = {passage.plan for passage in now.values()}
    for place, run in enumerate(past):
        for passage in passages_of_run(connection, run):
            beside = place == 0 and passage.plan in plans
            if passage.judged and passage.case not in found and (passage.case in now or beside):
                found[passage.case] = passage
        if now.keys() <= found.keys():
            break
    return found


def _ever_judged(connection: Connection, cases: Sequence[int], newer: KeptRun) -> list[int]:
    """Return those of these cases that some run of the same rack has judged."""
    own = CASE_RESULTS.c.case_id
    rack = (RUNS.c.bench == newer.bench) & (RUNS.c.virtual == newer.virtual)
    found: list[int] = []
    asked = select(own).join(RUNS, RUNS.c.id == CASE_RESULTS.c.run).distinct()
    asked = asked.where(rack, CASE_RESULTS.c.outcome.in_(sorted(JUDGED)))
    for some in _some(cases):
        found += connection.scalars(asked.where(own.in_(some))).all()
    return found


def _with_streaks(
    connection: Connection, cases: Sequence[Change], newer: KeptRun, past: Sequence[KeptRun]
) -> list[Change]:
    """Say of what is still broken since when."""
    still = [change.case for change in cases if change.kind is Kind.STILL]
    if not still:
        return list(cases)
    runs = {run.id: run for run in [newer, *past]}
    passages = passages_of_cases(connection, still, list(runs.values()))
    told = []
    for change in cases:
        if change.kind is Kind.STILL:
            bad = streak(passages[change.case])
            first = runs[bad[0].run] if bad else None
            change = replace(change, since=first, runs=len(bad))
        told.append(change)
    return told


def _slower(
    connection: Connection, newer: KeptRun, usual: Sequence[KeptRun]
) -> tuple[list[Slower], int]:
    """Return the responses that took longer than ever, and how many have too few runs before.

    Only those beyond the slowest are looked at closer.
    """
    if not usual:
        return [], 0
    ids, check, latency = [run.id for run in usual], RESULTS.c.check_id, RESULTS.c.latency
    timed = (latency.is_not(None), RESULTS.c.outcome == "pass")
    newest = select(check, func.max(latency)).where(RESULTS.c.run == newer.id, *timed)
    now = {row[0]: row[1] for row in connection.execute(newest.group_by(check))}
    each = in_order_of_runs(check)
    earlier = select(each, func.count(), func.max(latency)).where(RESULTS.c.run.in_(ids), *timed)
    few, suspects = len(now), {}
    for number, runs, most in connection.execute(earlier.group_by(each)):
        few -= number in now and runs >= LEAST
        if runs >= LEAST and now.get(number, 0) > most:
            suspects[number] = now[number]
    return _beyond_spread(connection, suspects, ids), few


def _beyond_spread(
    connection: Connection, suspects: Mapping[int, int], runs: Sequence[int]
) -> list[Slower]:
    earlier: dict[int, list[int]] = {check: [] for check in suspects}
    columns = (RESULTS.c.check_id, RESULTS.c.latency)
    asked = select(*columns).where(
        RESULTS.c.run.in_(runs), RESULTS.c.latency.is_not(None), RESULTS.c.outcome == "pass"
    )
    for some in _some(list(suspects)):
        for check, latency in connection.execute(asked.where(RESULTS.c.check_id.in_(some))):
            earlier[check].append(latency)
    slow = {check: now for check, now in suspects.items() if is_above(now, earlier[check])}
    found = [
        _told(row, slow[row.id], sorted(earlier[row.id])) for row in _names(connection, list(slow))
    ]
    return sorted(found, key=lambda one: -one.now / max(1, one.usual))


def _names(connection: Connection, checks: Sequence[int]) -> list[Any]:
    columns = (CHECKS.c.id, CASES.c.plan, CASES.c.title, CHECKS.c.step, CHECKS.c.signal)
    asked = select(*columns).join(CASES, CASES.c.id == CHECKS.c.case_id)
    found: list[Any] = []
    for some in _some(checks):
        found += connection.execute(asked.where(CHECKS.c.id.in_(some))).all()
    return found


def _told(row: Any, now: int, earlier: Sequence[int]) -> Slower:
    return Slower(
        plan=row.plan,
        title=row.title,
        step=row.step,
        signal=row.signal,
        now=now,
        usual=earlier[len(earlier) // 2],
        slowest=earlier[-1],
        runs=len(earlier),
    )


def _some(numbers: Sequence[int]) -> Iterator[Sequence[int]]:
    for first in range(0, len(numbers), _AT_ONCE):
        yield numbers[first : first + _AT_ONCE]


def _marks(connection: Connection, newer: KeptRun, older: KeptRun | None) -> list[MarkChange]:
    """Return the known faults to see to; one is news where it did not stand so before."""
    before_ = {} if older is None else dict(_standings(connection, older))
    found = []
    for (fault, reference, until), standing in _standings(connection, newer):
        if standing in ("shown", "unseen", "unseen, over"):
            continue
        found.append(
            MarkChange(
                fault=fault,
                reference=reference,
                until=until,
                standing=standing,
                news=before_.get((fault, reference, until)) != standing,
            )
        )
    return found


def _standings(connection: Connection, run: KeptRun) -> list[tuple[tuple[str, str, str], str]]:
    columns = (FAULTS.c.fault, FAULTS.c.reference, FAULTS.c.until, FAULTS.c.standing)
    asked = select(*columns).where(FAULTS.c.run == run.id).order_by(FAULTS.c.number)
    return [((fault, ref, until), how) for fault, ref, until, how in connection.execute(asked)]


def _notes(connection: Connection, newer: KeptRun, older: KeptRun | None) -> list[str]:
    """Say what else differs between the two runs: it may be why."""
    if older is None:
        return []
    notes = []
    then, now = identities(connection, older), identities(connection, newer)
    for node in sorted(then.keys() & now.keys()):
        for word, was, is_ in zip(("serial", "firmware"), then[node], now[node], strict=True):
            if was != is_:
                notes.append(f"{node}: {word} {was or '(none)'} before, {is_ or '(none)'} now")
    if older.bench_digest != newer.bench_digest:
        notes.append("the bench file differs")
    plans, plans_now = plan_digests(connection, older), plan_digests(connection, newer)
    edited = [t for t in plans_now if t in plans and plans[t] != plans_now[t]]
    if edited:
        notes.append(f"edited plans: {', '.join(edited)}")
    if older.tool != newer.tool:
        notes.append(f"{older.tool} before, {newer.tool} now")
    return notes
