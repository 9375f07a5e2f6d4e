"""Every deadline of the plans against what the line needs.

    tool ──command──▶ node ──(declared traffic from node to node)──▶ node ──reading──▶ tool

At best the command and the reading find their turns at once, and what happens between nodes takes
no time on the line: it may not pass it at all.  At worst every datagram waits its longest, those
between nodes too where the bench file declares them.  A node's own time is no part of it, nor is
the time until a polled node is asked.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from hil.bus.budget import Budget
from hil.bus.deadline import Fit, Ruling, rule
from hil.bus.segment import Segment
from hil.bus.way import Way, route, ways
from hil.core.error import Mark, Mistake
from hil.core.instant import Duration
from hil.core.plan import Plan, Step
from hil.wire.rack import Rack

REMEDY = "give it more time, or send less on the segment (`hil bus` shows where it goes)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One deadline, and how it stands.

    `worst` is what the line needs at most; `cases` is how many cases share it through `vary`.
    """

    mark: Mark
    case: str
    signal: str
    deadline: Duration
    worst: Duration | None
    ruling: Ruling
    cases: int = 1


def deadlines(rack: Rack, segment: Segment, planned: Budget, plans: Iterable[Plan]) -> list[Asked]:
    """Rule on every deadline, each place and signal once; the worst ruling first."""
    found = ways(rack, segment, planned)
    sensed = {name: way for way in found if not way.driven for name in way.signals}
    driven = {name: way for way in found if way.driven for name in way.signals}
    chains = _Chains(segment, planned)
    asked: dict[tuple[Mark, str, Duration], Asked] = {}
    for title, step in _steps(plans):
        starts = [driven[each.signal] for each in step.stimuli if each.signal in driven]
        for mark, signal, deadline in _within(step):
            way = sensed.get(signal)
            if way is None:
                continue
            best, worst = chains.needs(starts, way)
            ruling = rule(best, worst, deadline)
            key = (mark, signal, deadline)
            before = asked.get(key)
            asked[key] = Asked(
                mark=mark,
                case=title if before is None else before.case,
                signal=signal,
                deadline=deadline,
                worst=worst if before is None else _longer(worst, before.worst),
                ruling=ruling if before is None else _worse(ruling, before.ruling),
                cases=1 if before is None else before.cases + 1,
            )
    order = list(Fit)
    return sorted(asked.values(), key=lambda each: (order.index(each.ruling.fit), each.mark))


def mistakes(asked: Sequence[Asked]) -> list[Mistake]:
    """Return what a reader of plans is to be told: impossible is wrong, tight is odd.

    What nothing bounds is told once: its cause is one and the same.
    """
    told = []
    boundless = sum(each.worst is None for each in asked)
    said = False
    for each in asked:
        fit, sentence = each.ruling.fit, each.ruling.sentence
        if fit is Fit.COMFORTABLE:
            continue
        if fit is Fit.TIGHT and each.worst is None:
            if said:
                continue
            said = True
            sentence += f" (so for {boundless} deadlines in all)" if boundless > 1 else ""
        what = f"{each.signal}: {fit.value} on this segment, {sentence}"
        told.append(Mistake(each.mark, what, REMEDY, fit is Fit.TIGHT))
    return told


class _Chains:
    """What datagrams between nodes add, remembered by both ends."""

    def __init__(self, segment: Segment, planned: Budget) -> None:
        self._segment = segment
        self._worst = {path.traffic.name: path.worst for path in planned.paths}
        self._known: dict[tuple[str, str], Duration | None] = {}

    def needs(self, starts: Sequence[Way], end: Way) -> tuple[Duration, Duration | None]:
        """Return what the line needs at best and at worst, over the stimuli of a step."""
        if not starts:
            return end.best, end.worst
        best = min(start.best for start in starts) + end.best
        totals = [self._total(start, end) for start in starts]
        known = [total for total in totals if total is not None]
        return Duration(best), max(known) if len(known) == len(totals) else None

    def _total(self, start: Way, end: Way) -> Duration | None:
        between = self._between(start.node, end.node)
        if start.worst is None or end.worst is None or between is None:
            return None
        return Duration(start.worst + between + end.worst)

    def _between(self, one: str, other: str) -> Duration | None:
        key = (one, other)
        if key not in self._known:
            waits = [self._worst[name] for name in route(self._segment, one, other) or ()]
            known = [wait for wait in waits if wait is not None]
            total = self._segment.lasting(sum(known))
            self._known[key] = total if len(known) == len(waits) else None
        return self._known[key]


def _steps(plans: Iterable[Plan]) -> Iterator[tuple[str, Step]]:
    for plan in plans:
        for case in plan.cases:
            for step in case.steps:
                yield case.title, step


def _within(step: Step) -> Iterator[tuple[Mark, str, Duration]]:
    for expectation in step.expectations:
        deadline = expectation.timing.within
        if deadline is not None:
            for signal in expectation.signals:
                yield expectation.mark, signal, deadline


def _worse(one: Ruling, other: Ruling) -> Ruling:
    order = list(Fit)
    return one if order.index(one.fit) < order.index(other.fit) else other


def _longer(one: Duration | None, other: Duration | None) -> Duration | None:
    return None if one is None or other is None else max(one, other)
