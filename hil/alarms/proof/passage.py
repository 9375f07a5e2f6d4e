"""Every transition between bands, jumps across several included, and every alarm at least once.

    transitions    a tour that makes each ordered pair of bands once
    every alarm    from normal into each alarm band and back

A latched alarm is left by acknowledging it once the value is elsewhere.  What could not be
provoked is listed, and the verdict says so.
"""

from collections.abc import Iterator

from hil.alarms.coverage import Coverage, tour
from hil.alarms.proof.dialogue import Steps
from hil.alarms.proof.proof import Place, Proof
from hil.alarms.spec import Spec
from hil.core.event import AlarmCoverage, Event
from hil.core.instant import Instant
from hil.core.scene import Scene
from hil.core.verdict import Outcome, worst


class Passage(Proof):
    """What both have in common: hops from band to band, and what they covered."""

    what = ""

    def __init__(self, spec: Spec, scene: Scene, place: Place) -> None:
        super().__init__(spec, scene, place)
        self.done: list[str] = []
        self.missing: list[str] = []
        self._latched: frozenset[str] = frozenset()  # latched alarms that have stood

    def hop(self, before: str, after: str) -> Steps[bool]:
        """Go from one band to another; say whether the other was then shown."""
        stations, moves = self.stations, self.moves
        count = stations.middle(after)
        if count is None:
            self.note(
                Outcome.INCONCLUSIVE,
                f"{after} cannot be entered from anywhere: a dead band covers it, or the stimulus "
                f"does not reach it",
            )
            return False
        yield from moves.impose(count)
        if self._latched - {after}:
            yield from moves.wait(stations.settled)
            yield from moves.acknowledge()
        if (yield from moves.showing(after, stations.settled)):
            self._reached(after)
            return True
        text = f"from {before} to {after}: at {stations.show(count)} shows {moves.seen()}"
        if self.panel.voted & (self._latched - {after}):
            self.note(Outcome.INCONCLUSIVE, f"{text}: its latch does not let go, see the latch")
        else:
            self.note(Outcome.FAIL, text)
        return False

    def _reached(self, band: str) -> None:
        """Remember the latched alarms that stood: only they may still be shown afterwards."""
        edges = {edge.alarm: edge for edge in self.stations.edges}
        if band in edges:
            top = edges[band]
            self._latched |= {
                edge.alarm
                for edge in self.stations.edges
                if edge.latched and edge.rising is top.rising and edge.severity <= top.severity
            }

    def summarise(self, whole: bool) -> None:
        all_of_them = len(self.done) + len(self.missing)
        if not whole:
            self.note(Outcome.NOT_RUN, f"{len(self.done)} of {all_of_them} {self.what} provoked")
        elif self.missing:
            self.note(
                Outcome.INCONCLUSIVE,
                f"{len(self.done)} of {all_of_them} {self.what} provoked; never: "
                + ", ".join(self.missing),
            )
        else:
            self.note(Outcome.PASS, f"{all_of_them} of {all_of_them} {self.what} provoked")
        self.measured.append(("covered", f"{len(self.done)} of {all_of_them}"))

    def extra_events(self, at: Instant) -> Iterator[Event]:
        yield AlarmCoverage(
            at=at,
            index=self.place.index,
            step=self.place.step,
            spec=self.spec.name,
            signal=self.spec.signal,
            what=self.what,
            covered=len(self.done),
            of=len(self.done) + len(self.missing),
            missing=tuple(self.missing),
            outcome=worst([finding.outcome for finding in self.findings]).word,
            text="; ".join(finding.text for finding in self.findings),
            place=str(self.mark),
            requirements=self.requirements,
        )


class Transitions(Passage):
    """Every ordered pair of bands."""

    word = "transitions"
    what = "transitions"

    def __init__(self, spec: Spec, scene: Scene, place: Place) -> None:
        super().__init__(spec, scene, place)
        others = [band.name for band in spec.bands if band.name != spec.normal]
        self._walk = tour((spec.normal, *others))
        self._coverage = Coverage(band.name for band in spec.bands)

    def prove(self) -> Steps[None]:
        yield from self.moves.normal()
        here = self._walk[0]
        for band in self._walk[1:]:
            if here not in self.panel.voted and not (yield from self._again(here)):
                here = band
                continue
            if (yield from self.hop(here, band)):
                self._coverage.note(here, band)
            here = band

    def _again(self, band: str) -> Steps[bool]:
        """Reach the band where a hop begins once more, after one that went wrong."""
        yield from self.moves.normal()
        if band == self.spec.normal:
            return True
        count = self.stations.middle(band)
        if count is None:
            return False
        yield from self.moves.impose(count)
        return (yield from self.moves.showing(band, self.stations.settled))

    def summarise(self, whole: bool) -> None:
        left = self._coverage.uncovered
        self.missing = [f"{before} to {after}" for before, after in left]
        made = [pair for pair in self._coverage.wanted if pair not in left]
        self.done = [f"{before} to {after}" for before, after in made]
        super().summarise(whole)


class EveryAlarm(Passage):
    """Each alarm of the spec, provoked once."""

    word = "every alarm"
    what = "alarms"

    def prove(self) -> Steps[None]:
        self.missing = [edge.alarm for edge in self.stations.edges]
        for edge in self.stations.edges:
            yield from self.moves.normal()
            count = self.stations.middle(edge.alarm)
            if count is None:
                text = f"{edge.alarm} is out of reach of the stimulus, or covered by a dead band"
                self.note(Outcome.INCONCLUSIVE, text)
                continue
            yield from self.moves.impose(count)
            if (yield from self.moves.shown(edge, self.stations.after_on(edge))):
                self.missing.remove(edge.alarm)
                self.done.append(edge.alarm)
            else:
                text = f"{edge.alarm} never shown: at {self.stations.show(count)} shows "
                self.note(Outcome.FAIL, text + self.moves.seen())
        yield from self.moves.normal()

    def summarise(self, whole: bool) -> None:
        if not self.done and not self.missing:
            self.missing = [edge.alarm for edge in self.stations.edges]
        super().summarise(whole)
