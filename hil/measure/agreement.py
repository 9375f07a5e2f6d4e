"""The same thing in several places: do signals agree within a time, whichever changes first?

    beacon.lamp          green │red
    tile.disc            green ┊   │red
    console.feed-colour  green ┊   ┊ │red
                               |-----|       disagreement: from the first that differs until all
                               leader  last   are the same again; its length is the skew

Each change has happened between `since`, the last look that did not show it, and `at`, the first
that did; so a skew is a span too, and where the limit falls inside it the answer is inconclusive.
Changes seen at one instant count together: they can have been apart by as long as the look took.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import groupby

from hil.core.instant import Duration
from hil.core.signal import Value
from hil.core.verdict import Outcome, window_margin
from hil.measure.span import Span


@dataclass(frozen=True, slots=True)
class Change:
    """A signal came to have `value` between `since` and `at`; None is no valid value."""

    since: int
    at: int
    value: Value | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Disagreement:
    """A time over which the signals did not all show the same.

    `leader` is the signal whose change began it, `last` the one whose change ended it: empty where
    nothing did before the end.  `shown` is what each showed just after the leader's change; where
    it did not end, at the end.
    """

    begin: int
    skew: Span
    leader: str
    last: str
    shown: tuple[tuple[str, Value | None], ...]
    ended: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """The verdict over all disagreements; `worst` is the longest of those that decided it.

    `margin` is the part of the allowed time that the worst left over; None where inconclusive.
    """

    outcome: Outcome
    disagreements: tuple[Disagreement, ...]
    worst: Disagreement | None
    margin: float | None


_RANKS = (Outcome.PASS, Outcome.INCONCLUSIVE, Outcome.FAIL)


def agreement(
    changes: Mapping[str, Sequence[Change]],
    *,
    within: Duration,
    until: int,
    tolerance: Decimal = Decimal(0),
) -> Agreement:
    """Judge whether signals agree again within a time of each change, up to `until`.

    `changes` holds for each signal what it showed, in order, its first entry being the value in
    force at the beginning; numbers agree when they are no more than `tolerance` apart, and no
    value agrees with nothing.  Raises ValueError with fewer than two signals or no first value.
    """
    if len(changes) < 2:
        raise ValueError("agreement takes at least two signals")
    if any(not entries for entries in changes.values()):
        raise ValueError("each signal has a value at the beginning")
    found = tuple(_disagreements(changes, until, tolerance))
    outcomes = [_outcome(part, within) for part in found]
    outcome = max(outcomes, key=_RANKS.index, default=Outcome.PASS)
    decisive = [part for part, each in zip(found, outcomes, strict=True) if each is outcome]
    worst = max(decisive, key=lambda part: (part.skew.last, part.skew.first), default=None)
    margin = None
    if worst is not None and outcome is not Outcome.INCONCLUSIVE:
        nearest = worst.skew.last if outcome is Outcome.PASS else worst.skew.first
        margin = window_margin(Duration(nearest), within)
    return Agreement(outcome=outcome, disagreements=found, worst=worst, margin=margin)


def _outcome(part: Disagreement, within: Duration) -> Outcome:
    if part.skew.first > within:
        return Outcome.FAIL
    if part.ended and part.skew.last <= within:
        return Outcome.PASS
    return Outcome.INCONCLUSIVE


def _disagreements(
    changes: Mapping[str, Sequence[Change]], until: int, tolerance: Decimal
) -> list[Disagreement]:
    shown = {signal: entries[0].value for signal, entries in changes.items()}
    begin = max(entries[0].at for entries in changes.values())
    found: list[Disagreement] = []
    opened: _Opened | None = None
    if not _agree(shown, tolerance):
        opened = _Opened("", Change(begin, begin, None), tuple(shown.items()))
    for together in _by_instant(changes, until):
        shown |= {signal: change.value for signal, change in together}
        same = _agree(shown, tolerance)
        first, last = together[0], together[-1]
        if opened is None and not same:
            opened = _Opened(*first, tuple(shown.items()))
        elif opened is not None and same:
            found.append(_closed(opened, *last))
            opened = None
        elif same and first[1].since < first[1].at and len(together) > 1:
            found.append(_closed(_Opened(*first, tuple(shown.items())), *last))
    if opened is not None:
        opened = replace(opened, shown=tuple(shown.items()))
        found.append(_closed(opened, "", Change(until, until, None)))
    return found


def _by_instant(
    changes: Mapping[str, Sequence[Change]], until: int
) -> Iterator[list[tuple[str, Change]]]:
    """Yield the changes seen at each instant, the one that can have come first ahead."""
    later = [(signal, change) for signal, entries in changes.items() for change in entries[1:]]
    later.sort(key=lambda entry: (entry[1].at, entry[1].since))
    for at, together in groupby(later, key=lambda entry: entry[1].at):
        if at > until:
            return
        yield list(together)


@dataclass(frozen=True, slots=True)
class _Opened:
    leader: str
    change: Change
    shown: tuple[tuple[str, Value | None], ...]


def _closed(opened: _Opened, last: str, change: Change) -> Disagreement:
    begin = opened.change
    skew = Span(change.since - begin.at, change.at - begin.at, change.at - begin.since)
    return Disagreement(
        begin=begin.at,
        skew=skew.at_least(0),
        leader=opened.leader,
        last=last,
        shown=opened.shown,
        ended=bool(last),
    )


def _agree(shown: Mapping[str, Value | None], tolerance: Decimal) -> bool:
    values = list(shown.values())
    if any(value is None for value in values):
        return False
    numbers = [value for value in values if isinstance(value, Decimal)]
    if len(numbers) == len(values):
        return max(numbers) - min(numbers) <= tolerance
    return len(set(values)) == 1
