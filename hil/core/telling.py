"""What the journal is told of a skipped case, and of how the rack was left."""

from collections.abc import Iterator, Mapping, Sequence

from hil.core.event import ActuatorSafe, CaseEnded, CaseStarted, Event
from hil.core.instant import Instant
from hil.core.placing import Target
from hil.core.plan import Case
from hil.core.signal import show_value
from hil.core.verdict import Outcome


def skipped(case: Case, index: int, at: Instant) -> Iterator[Event]:
    """Yield the beginning and the end of a case that is not meant to run here."""
    yield CaseStarted(
        at=at,
        index=index,
        plan=case.plan,
        case=case.title,
        attempt=1,
        place=str(case.mark),
        requirements=case.requirements,
        tags=case.tags,
    )
    yield CaseEnded(
        at=at,
        index=index,
        plan=case.plan,
        case=case.title,
        outcome=Outcome.SKIPPED.word,
        attempt=1,
        took=0,
        reasons=(case.skip,),
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
