"""What the journal is told of a case that begins or is skipped, and of how the rack was left."""

from collections.abc import Iterator, Mapping, Sequence

from hil.core.event import ActuatorSafe, CaseEnded, CaseStarted, Event
from hil.core.instant import Instant
from hil.core.placing import Target
from hil.core.plan import Case
from hil.core.signal import show_value
from hil.core.verdict import Outcome


def case_begun(case: Case, index: int, attempt: int, at: Instant) -> CaseStarted:
    """Return the opening line of an attempt at a case."""
    return CaseStarted(
        at=at,
        index=index,
        plan=case.plan,
        case=case.title,
        attempt=attempt,
        place=str(case.mark),
        requirements=case.requirements,
        tags=case.tags,
    )


def case_unjudged(case: Case, index: int, at: Instant, outcome: Outcome, why: str) -> CaseEnded:
    """Return the closing line of a case of which nothing was judged."""
    return CaseEnded(
        at=at,
        index=index,
        plan=case.plan,
        case=case.title,
        outcome=outcome.word,
        attempt=1,
        took=0,
        reasons=(why,),
    )


def skipped(case: Case, index: int, at: Instant, why: str) -> tuple[Event, ...]:
    """Return the beginning and the end of a case that is not run here."""
    return (
        case_begun(case, index, 1, at),
        case_unjudged(case, index, at, Outcome.SKIPPED, why),
    )


def left_safe(
    targets: Sequence[Target], distrusted: Mapping[str, str], at: Instant
) -> Iterator[ActuatorSafe]:
    """Yield where each driven signal was left.

    What a board said that has taken a node's place confirms nothing of that node.
    """
    for target in targets:
        doubt = distrusted.get(target.signal.node, "")
        yield ActuatorSafe(
            at=at,
            signal=target.signal.path,
            value=show_value(target.value, target.signal),
            confirmed=target.done and not doubt,
            text=target.failed or doubt,
            actuator=target.signal.drive is None or target.signal.drive.actuator,
        )
