"""What differs between two runs, case by case.

    now       before: good      known         bad           never judged
    good      (nothing)         fixed         fixed         newly run
    known     newly known       (nothing)     newly known   newly known
    bad       newly broken      newly broken  still broken  newly broken
    no verdict, or not there at all           not run any more; never run where it never was

Good, known and bad are those of hil.history.passages.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum

from hil.history.passages import GOOD, KNOWN, Passage
from hil.history.runs import KeptRun


class Kind(Enum):
    """How a case changed, in the order in which people want to read it."""

    BROKEN = "newly broken"
    STILL = "still broken"
    FIXED = "fixed"
    KNOWN = "newly known"
    NEW = "newly run"
    GONE = "not run any more"
    NEVER = "never run"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One case that changed, or is broken still; `since` is the first of `runs` bad runs."""

    kind: Kind
    plan: str
    title: str
    before: str
    now: str
    reason: str
    case: int
    since: KeptRun | None = None
    runs: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Slower:
    """A response that takes longer than in any of the runs before, beyond their spread; ns."""

    plan: str
    title: str
    step: int
    signal: str
    now: int
    usual: int
    slowest: int
    runs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkChange:
    """A known fault that somebody has to see to: over, passing, or another value."""

    fault: str
    reference: str
    until: str
    standing: str
    news: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """Everything between two runs; `older` is None where the rack has no run before.

    `notes` say what else differs: firmware, bench file, plans, tool.  `unsure` counts responses
    with too few runs before to know what is usual.
    """

    older: KeptRun | None
    newer: KeptRun
    cases: tuple[Change, ...]
    slower: tuple[Slower, ...] = ()
    marks: tuple[MarkChange, ...] = ()
    notes: tuple[str, ...] = ()
    unsure: int = 0

    def of(self, kind: Kind) -> list[Change]:
        """Return the cases that changed like this, in the order of the run."""
        return [change for change in self.cases if change.kind is kind]

    @property
    def worth_telling(self) -> bool:
        """Whether something is news: a still broken case is none, nor one that was not asked for."""
        news = (Kind.BROKEN, Kind.FIXED, Kind.KNOWN)
        stopped = bool(self.newer.aborted) or not self.newer.ended
        before = self.older is not None and (bool(self.older.aborted) or not self.older.ended)
        return (
            any(change.kind in news for change in self.cases)
            or any(mark.news for mark in self.marks)
            or bool(self.slower)
            or stopped != before
        )


def compare(
    before: Mapping[int, Passage], now: Mapping[int, Passage], ever: Iterable[int] = ()
) -> list[Change]:
    """Return how cases changed; both by the number of the case.

    `ever` are cases that were judged at some time, where `before` does not know them.
    """
    known_ever = set(ever)
    found: list[Change] = []
    for case, passage in now.items():
        earlier = before.get(case)
        judged_before = earlier if earlier is not None and earlier.judged else None
        kind = _kind(judged_before, passage, case in known_ever)
        if kind is not None:
            found.append(_change(kind, passage, judged_before))
    for case, passage in before.items():
        if case not in now and passage.judged:
            gone = _change(Kind.GONE, passage, passage)
            found.append(gone)
    return found


def _kind(before: Passage | None, now: Passage, ever: bool) -> Kind | None:
    if not now.judged:
        return Kind.GONE if before is not None or ever else Kind.NEVER
    if now.bad:
        return Kind.STILL if before is not None and before.bad else Kind.BROKEN
    if now.outcome == KNOWN:
        return None if before is not None and before.outcome == KNOWN else Kind.KNOWN
    if before is None:
        return Kind.NEW
    return None if before.outcome == GOOD else Kind.FIXED


def _change(kind: Kind, passage: Passage, before: Passage | None) -> Change:
    gone = kind is Kind.GONE and passage is before
    return Change(
        kind=kind,
        plan=passage.plan,
        title=passage.title,
        before="" if before is None else before.outcome,
        now="" if gone else passage.outcome,
        reason="" if gone else passage.reason,
        case=passage.case,
    )
