"""Segments for the tests of hil.bus."""

from hil.bus.segment import Participant, Segment, Traffic
from hil.core.instant import SECOND, Duration

HOUR = Duration(3600 * SECOND)


def ring(nodes: int, **settings) -> Segment:
    """Return a segment of so many nodes, ids from 0, the node count to match."""
    own = {
        name: settings.pop(name)
        for name in ("burst_count", "burst_timer", "to_timer")
        if name in settings
    }
    participants = tuple(
        Participant(name=f"n{number}", plca_id=number, **own) for number in range(nodes)
    )
    settings.setdefault("node_count", nodes)
    return Segment(participants=participants, **settings)


def sizes(payloads) -> tuple[Traffic, ...]:
    """Declare one rare datagram of each payload, from n0, n1 and so on."""
    return tuple(
        Traffic(name=f"t{number}", sender=f"n{number}", receiver="", payload=each, interval=HOUR)
        for number, each in enumerate(payloads)
    )
