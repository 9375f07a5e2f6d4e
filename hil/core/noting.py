"""What was odd about a node or the bench itself, and what its programs did, for the journal."""

from hil.core.errand import ProgramEnded
from hil.core.event import BenchCommand, Event, HostNoted, NodeNoted
from hil.core.instant import Instant
from hil.core.observation import HostNote, NodeNote


def noted(seen: NodeNote | HostNote | ProgramEnded, at: Instant) -> Event:
    """Return the journal's line about it; `at` counts as the journal does."""
    if isinstance(seen, HostNote):
        return HostNoted(at=at, trouble=seen.trouble.value, amount=seen.amount, text=seen.text)
    if isinstance(seen, NodeNote):
        trouble = seen.trouble.value
        return NodeNoted(at=at, node=seen.node, trouble=trouble, text=seen.text, hex=seen.raw.hex())
    return BenchCommand(
        at=at,
        signal=seen.signal,
        value=seen.value,
        argv=seen.argv,
        how=seen.how,
        code=seen.code,
        took=seen.took,
        size=seen.size,
        head=seen.head,
        tail=seen.tail,
    )
