"""Readings that never came: told once, just before the last line of the journal."""

from collections.abc import Callable, Iterable

from hil.core.count import counted
from hil.core.event import Event, NodeNoted, RunEnded
from hil.wire.link import Links

LOST = "lost"
Note = Callable[[Event], object]


def noting_losses(record: Note, note: Note, links: Links, nodes: Iterable[str]) -> Note:
    """Return `record`, which notes before the end what the sequence numbers of nodes say."""
    names = tuple(nodes)

    def recording(event: Event) -> None:
        if isinstance(event, RunEnded):
            for name in names:
                lost = links.lost(name)
                if lost:
                    text = f"{counted(lost, 'reading')} never came, by their sequence numbers"
                    note(NodeNoted(at=event.at, node=name, trouble=LOST, text=text))
        record(event)

    return recording
