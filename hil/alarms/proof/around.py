"""The counts around an edge: one below, at, one above, in both directions.

Each of them is reached from normal (does the alarm come?) and from the alarm (does it stay?), for
the trip point and for the reset point.  Where the spec allows a tolerance of t counts, the outer
probes lie t + 1 counts away and what happens within the tolerance is told, not judged.
"""

from collections.abc import Iterator
from decimal import Decimal

from hil.alarms.edge import Edge, Place, decided
from hil.alarms.proof import proof
from hil.alarms.proof.dialogue import Steps
from hil.alarms.proof.probe import clears, trips
from hil.alarms.spec import Spec
from hil.core.scene import Scene
from hil.core.signal import EXACT, Validity
from hil.core.verdict import Outcome


class AroundProof(proof.Proof):
    """One edge, count by count."""

    word = "counts around the edge"

    def __init__(self, spec: Spec, scene: Scene, place: proof.Place, edge: Edge) -> None:
        super().__init__(spec, scene, place, edge.alarm)
        self.edge = edge

    def prove(self) -> Steps[None]:
        for level in dict.fromkeys((self.edge.trip, self.edge.reset)):
            for count in self._counts(level):
                judged = abs(EXACT.subtract(self.stations.value(count), level))
                within = 0 < judged <= self.spec.tolerance.level or (
                    judged == 0 < self.spec.tolerance.level
                )
                yield from self._probe(count, within)

    def _counts(self, level: Decimal) -> Iterator[int]:
        """Yield one count below, at, and one above a level, each outside the tolerance."""
        grid, reachable = self.stations.grid, self.stations.reachable
        spare = grid.floor(EXACT.add(grid.origin, self.spec.tolerance.level))
        below, above = grid.floor(level), grid.ceil(level)
        first = below - spare - (1 if grid.meets(level) else 0)
        last = above + spare + (1 if grid.meets(level) else 0)
        wanted = [first, below, above, last]
        yield from (count for count in dict.fromkeys(wanted) if count in reachable)

    def _probe(self, count: int, within: bool) -> Steps[None]:
        place = self.edge.place(decided(self.spec, self.stations.value(count)))
        for begin, probe, wanted in (
            (self.spec.normal, trips, place is Place.BEYOND),
            (self.alarm, clears, place is Place.CLEAR),
        ):
            got = yield from probe(self.moves, self.edge, count)
            if not within and self._wandered(count):
                text = f"the input wandered around {self.stations.show(count)} by its own noise"
                self.note(Outcome.INCONCLUSIVE, text)
                continue
            self._tell(count, begin, got, wanted, within)

    def _tell(self, count: int, begin: str, got: bool | None, wanted: bool, within: bool) -> None:
        from_normal = begin == self.spec.normal
        shown = {None: f"shows {self.moves.seen()}", True: "trips", False: "does not trip"}
        if not from_normal:
            shown |= {True: "clears", False: "does not clear"}
        where = f"{self.stations.show(count)}, coming from {begin}"
        text = f"{shown[got]} at {where}"
        if got == wanted or within:
            self.note(Outcome.PASS, f"{text} (within the tolerance)" if within else text)
        elif got is False and not from_normal and self.edge.latched:
            self.note(Outcome.INCONCLUSIVE, f"{text}: its latch hides this, see the latch")
        else:
            self.note(Outcome.FAIL, f"{text}, wanted that it {shown[wanted]}")

    def _wandered(self, count: int) -> bool:
        """Tell whether the last reading lies elsewhere, as this alarm sees it, than was wanted."""
        sample = self.panel.input
        if sample is None or sample.validity is not Validity.VALID:
            return False
        if not isinstance(sample.value, Decimal):
            return False
        wanted = self.edge.place(decided(self.spec, self.stations.value(count)))
        return self.edge.place(decided(self.spec, sample.value)) is not wanted
