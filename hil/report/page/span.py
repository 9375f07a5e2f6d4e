"""Which datagrams a case is told with: those of the nodes concerned, around what went wrong.

from the stimulus      a little before it, so that the value in force is seen
to the decision        a little after it, but not into the next case
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from hil.core.event import CheckDecided
from hil.core.instant import MILLISECOND, SECOND
from hil.report.page.dossier import Chapter, Dossier

LEAD, SHORTEST_LEAD, LONGEST_LEAD = 0.15, 20 * MILLISECOND, SECOND // 2
"""What is shown on either side, as a share of the time in between, and its bounds."""

WITHOUT_STIMULUS = SECOND
"""So long before the end of an attempt is shown where nothing says what the trouble was."""

LONGEST = 60 * SECOND


@dataclass(slots=True, kw_only=True)
class Span:
    """A stretch of time, in nanoseconds since the run began, and whose datagrams belong to it.

    `step` is the step it is about, None where an attempt as a whole went wrong.
    """

    dossier: Dossier
    chapter: Chapter
    step: int | None
    nodes: frozenset[str]
    start: int
    end: int
    touched: bool = field(default=False)


def spans_of(dossier: Dossier) -> Iterator[Span]:
    """Yield the spans of a case, one for each step in which something went wrong."""
    for chapter in dossier.chapters:
        steps = _by_step(chapter)
        for step, checks in steps.items():
            nodes = {check.node for check in checks}
            nodes |= {_node(command.signal) for at, command in chapter.stimuli if at == step}
            start, end = _reach(checks)
            yield _span(dossier, chapter, step, nodes, start, end)
        if not steps and chapter.reasons:
            end = chapter.ended or chapter.began
            nodes = {_node(command.signal) for _, command in chapter.stimuli}
            nodes |= {_node(command.signal) for command in chapter.lost}
            start = max(chapter.began, end - WITHOUT_STIMULUS)
            yield _span(dossier, chapter, None, nodes, start, end)


def decision(check: CheckDecided) -> int:
    """Return when a check was decided: where something decided it, else where silence did."""
    if check.stimulus is None:
        return check.at
    if check.elapsed is not None:
        return check.stimulus + check.elapsed
    return min(check.at, check.stimulus + max((time for _, time in check.timing), default=0))


def _by_step(chapter: Chapter) -> dict[int, list[CheckDecided]]:
    steps: dict[int, list[CheckDecided]] = {}
    for check in chapter.wrong:
        steps.setdefault(check.step, []).append(check)
    return steps


def _reach(checks: Sequence[CheckDecided]) -> tuple[int, int]:
    starts = [check.stimulus for check in checks if check.stimulus is not None]
    end = max(max(check.at, decision(check)) for check in checks)
    return min(starts, default=end - WITHOUT_STIMULUS), end


def lead(start: int, end: int) -> int:
    """Return how much is shown before and after a stretch of time."""
    return min(max(int(LEAD * min(end - start, LONGEST)), SHORTEST_LEAD), LONGEST_LEAD)


def _span(
    dossier: Dossier, chapter: Chapter, step: int | None, nodes: set[str], start: int, end: int
) -> Span:
    start = max(start, end - LONGEST)
    room = lead(start, end)
    return Span(
        dossier=dossier,
        chapter=chapter,
        step=step,
        nodes=frozenset(nodes),
        start=start - room,
        end=end + room,
    )


def _node(signal: str) -> str:
    return signal.partition(".")[0]
