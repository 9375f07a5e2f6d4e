"""The verdicts of cases, night after night.

A case is good (pass), known (a known fault), or bad (fail, unstable, inconclusive, error); skipped
and not run are no verdict.  It flips where it is good one time and bad the next it was judged.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from sqlalchemy import Connection, select

from hil.history.runs import KeptRun
from hil.history.schema import CASE_RESULTS, CASES

GOOD, KNOWN = "pass", "known"
BAD = frozenset({"fail", "unstable", "inconclusive", "error"})
JUDGED = BAD | {GOOD, KNOWN}

_AT_ONCE = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """One case in one run; `reason` is why it did not simply pass."""

    case: int
    plan: str
    title: str
    run: int
    outcome: str
    attempts: int
    reason: str

    @property
    def judged(self) -> bool:
        """Whether it has a verdict at all."""
        return self.outcome in JUDGED

    @property
    def bad(self) -> bool:
        """Whether somebody has to look at it."""
        return self.outcome in BAD


@dataclass(frozen=True, slots=True, kw_only=True)
class Stability:
    """How often the verdict of a case turned round, of how often it could."""

    flips: int
    chances: int
    unstable: int

    @property
    def rate(self) -> float:
        """The share of turns; 0 where there was no chance."""
        return self.flips / self.chances if self.chances else 0.0


def passages_of_run(connection: Connection, run: KeptRun) -> list[Passage]:
    """Return every case of a run."""
    return list(_fetch(connection, [run], None))


def passages_of_cases(
    connection: Connection, cases: Collection[int], runs: Sequence[KeptRun]
) -> dict[int, list[Passage]]:
    """Return for each case its passages through runs, the first run first."""
    order = {run.id: place for place, run in enumerate(sorted(runs, key=_when))}
    found: dict[int, list[Passage]] = {case: [] for case in cases}
    for passage in _fetch(connection, runs, sorted(cases)):
        found[passage.case].append(passage)
    for passages in found.values():
        passages.sort(key=lambda passage: order[passage.run])
    return found


def find_cases(connection: Connection, text: str, most: int) -> list[tuple[int, str, str]]:
    """Return number, plan and title of the cases with a text in title or plan."""
    pattern = CASES.c.title.icontains(text, autoescape=True)
    pattern |= CASES.c.plan.icontains(text, autoescape=True)
    asked = select(CASES.c.id, CASES.c.plan, CASES.c.title).where(pattern)
    rows = connection.execute(asked.order_by(CASES.c.plan, CASES.c.title).limit(most))
    return [(number, plan, title) for number, plan, title in rows]


def stability(passages: Iterable[Passage]) -> Stability:
    """Return how often a case turned round; known faults and what was not judged count not."""
    told = [passage for passage in passages if passage.bad or passage.outcome == GOOD]
    return Stability(
        flips=sum(one.bad != other.bad for one, other in pairwise(told)),
        chances=max(0, len(told) - 1),
        unstable=sum(passage.outcome == "unstable" for passage in told),
    )


def streak(passages: Sequence[Passage]) -> list[Passage]:
    """Return the latest judged passages that are all bad, the first of them first."""
    found: list[Passage] = []
    for passage in reversed([passage for passage in passages if passage.judged]):
        if not passage.bad:
            break
        found.append(passage)
    return found[::-1]


def _when(run: KeptRun) -> tuple[str, int]:
    return run.started, run.id


def _fetch(
    connection: Connection, runs: Sequence[KeptRun], cases: Sequence[int] | None
) -> Iterator[Passage]:
    columns = (
        CASE_RESULTS.c.case_id,
        CASES.c.plan,
        CASES.c.title,
        CASE_RESULTS.c.run,
        CASE_RESULTS.c.outcome,
        CASE_RESULTS.c.attempts,
        CASE_RESULTS.c.reason,
    )
    asked = select(*columns).join(CASES, CASES.c.id == CASE_RESULTS.c.case_id)
    asked = asked.where(CASE_RESULTS.c.run.in_([run.id for run in runs]))
    parts = [None] if cases is None else range(0, len(cases), _AT_ONCE)
    for first in parts:
        some = asked
        if first is not None and cases is not None:
            some = asked.where(CASE_RESULTS.c.case_id.in_(cases[first : first + _AT_ONCE]))
        for case, plan, title, run, outcome, attempts, reason in connection.execute(some):
            yield Passage(
                case=case,
                plan=plan,
                title=title,
                run=run,
                outcome=outcome,
                attempts=attempts,
                reason=reason,
            )
