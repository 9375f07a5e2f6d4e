"""What the wall bench listens to beside the segment: a person at a terminal, programs of its own.

attach(watch, forget)   the bench lends its set of files: it wakes for those that are watched
due(now)                do what is due now; return when something is due next
collect(horizon)        hand over what came, no later than the horizon
"""

from collections.abc import Callable
from typing import Protocol

from hil.bench.bench import Arrival
from hil.core.instant import Instant

Watch = Callable[[int], None]


class Aside(Protocol):
    """One such thing; nothing that it does blocks."""

    def attach(self, watch: Watch, forget: Watch) -> None:
        """Learn how to have the bench wake for a file, and how no longer to."""

    def due(self, now: Instant) -> Instant | None:
        """Do what is due; return when something is due next, None for never."""

    def collect(self, horizon: Instant) -> list[Arrival]:
        """Hand over what came."""
