"""When the input crossed, when the indicators showed it, and how long lies between.

input        ----|=====                crossed between `since` and `at` of the sample
indicators   -----------|=====         changed between `since` and `at`
elapsed             [least, most]
"""

from dataclasses import dataclass
from decimal import Decimal

from hil.alarms.edge import Edge, Place, decided
from hil.alarms.proof.moves import Moves
from hil.core.instant import Duration, Instant
from hil.core.signal import Sample, Validity


@dataclass(frozen=True, slots=True)
class Span:
    """A length of time known to lie between two ends, both included."""

    least: Duration
    most: Duration

    @property
    def middle(self) -> float:
        return (self.least + self.most) / 2

    @property
    def half(self) -> float:
        return (self.most - self.least) / 2


@dataclass(frozen=True, slots=True)
class Crossing:
    """The input came to lie in another place at some moment between `since` and `at`."""

    place: Place
    since: Instant
    at: Instant


def crossings(moves: Moves, edge: Edge) -> list[Crossing]:
    """Return where the input was, as this alarm sees it, since the panel began; changes only."""
    found: list[Crossing] = []
    before: Sample | None = None
    for sample in moves.panel.inputs:
        value = sample.value
        if sample.validity is not Validity.VALID or not isinstance(value, Decimal):
            continue
        place = edge.place(decided(moves.spec, value))
        if not found or found[-1].place is not place:
            sampled = moves.stations.input.sampling is not None and before is not None
            since = before.at if sampled and before is not None else sample.since
            found.append(Crossing(place, min(since, sample.at), sample.at))
        before = sample
    return found


def entered(
    moves: Moves, edge: Edge, place: Place, after: Crossing | None = None
) -> Crossing | None:
    """Return when the input came into a place for the first time (after another crossing)."""
    into = [one for one in crossings(moves, edge) if one.place is place]
    later = [one for one in into if after is None or one.at > after.at]
    return later[0] if later else None


def between(start: Crossing, end_since: Instant, end_at: Instant) -> Span:
    """Return how long it was from a crossing to something seen; negative where that was before."""
    return Span(Duration(end_since - start.at), Duration(end_at - start.since))
