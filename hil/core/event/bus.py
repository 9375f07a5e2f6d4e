"""The shared segment as the journal tells it."""

from dataclasses import dataclass
from typing import ClassVar

from hil.core.event.event import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturbed(Event):
    """From here to the end of the case the relay does what this step of the plan says."""

    kind: ClassVar[str] = "disturbed"
    index: int
    step: int
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BusHealth(Event):
    """How the bus is, as an interface or a node tells it: `facts` are (what, how it is)."""

    kind: ClassVar[str] = "bus-health"
    who: str
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentSeen(Event):
    """What a simulated segment carried, from the start of the run.

    `busy` is how long frames held the line, of `elapsed`; `lost` were swallowed whole, `spoiled`
    had a bit error.  `shares` are, for each participant, its name, frames sent, waiting, refused,
    given up, collisions, time on the line, and the median, 99 % and longest access delay.
    """

    kind: ClassVar[str] = "segment"
    elapsed: int
    busy: int
    utilisation: float
    frames: int
    lost: int
    spoiled: int
    shares: tuple[tuple[str, int, int, int, int, int, int, int, int, int], ...]
