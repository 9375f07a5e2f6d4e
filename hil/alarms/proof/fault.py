"""Without a reading: shown as that, never as normal, never as an alarm, and over when it is over.

    fault     sentinel, NaN, out of range          after the agreement time
    stale     a value that is not renewed          after its age
    silent    a node that says nothing             after its age; stale may come before

Each is provoked from normal and from the worst alarm.  Between the old state and the fault nothing
else may be shown: "no value" must not become 0 and raise a low alarm.
"""

from hil.alarms.edge import Edge
from hil.alarms.means import SENSOR_RESTART, SILENCE, STALE_VALUE, Way
from hil.alarms.proof.dialogue import Drive, Steps, Until
from hil.alarms.proof.proof import Place, Proof
from hil.alarms.proof.station import drive_of
from hil.alarms.spec import FAULT, SILENT, SPECIAL, STALE, AfterFault, Spec
from hil.core.instant import ZERO, Duration, Instant, after, show_duration
from hil.core.scene import Scene
from hil.core.verdict import Outcome

LOOKS = {STALE_VALUE: STALE, SILENCE: SILENT}
"""The look of what is provoked; that of everything else is FAULT."""


class FaultProof(Proof):
    """One kind of fault, provoked by one way."""

    def __init__(self, spec: Spec, scene: Scene, place: Place, way: Way) -> None:
        super().__init__(spec, scene, place)
        self.way = way
        self.look = LOOKS.get(way.what, FAULT)
        self.word = f"fault: {way.what}"
        self._since = Instant(0)

    def prove(self) -> Steps[None]:
        yield from self._from(None)
        for edge in worst_alarms(self):
            yield from self._from(edge)

    def _from(self, edge: Edge | None) -> Steps[None]:
        """Provoke the fault from normal or from an alarm, and let it go again."""
        moves = self.moves
        before = self.spec.normal if edge is None else edge.alarm
        yield from moves.normal() if edge is None else moves.standing(edge)
        self.panel.begin()
        self._since = moves.now = (yield Drive(self.way.signal, self.way.value)).now
        patience = Duration(self._age() + self.stations.agreement + self.stations.slack)
        reply = yield Until(lambda: self._shown, after(moves.now, patience))
        moves.now = reply.now
        first = "" if reply.met else moves.seen()
        yield from moves.wait(self.stations.settled)
        self._judge(before, show_duration(patience), first)
        self.panel.begin()
        rest = drive_of(self.signals[self.way.signal]).rest
        moves.now = (yield Drive(self.way.signal, rest)).now
        yield from self._back(edge, before)

    def _judge(self, before: str, patience: str, first: str) -> None:
        """Judge what was shown; `first` is what was there when the time was over, if wrong."""
        passing = [one for one in self._passing() if one != before]
        later = self.moves.seen()
        if first:
            text = f"from {before}: {self.look} is not shown after {patience}, but {first}"
            self.note(Outcome.FAIL, text if later == first else f"{text}, and later {later}")
        elif not self._shown:
            self.note(Outcome.FAIL, f"from {before}: {self.look} does not stay, later {later}")
        elif passing:
            self.note(Outcome.FAIL, f"from {before}: showed {', '.join(passing)} on the way")
        else:
            text = f"from {before}: {self.look} is shown, and nothing else before"
            self.note(Outcome.PASS, text + self._blind_spot())

    def _back(self, edge: Edge | None, before: str) -> Steps[None]:
        """See the state before come back by itself."""
        met = yield from self.moves.showing(before, self.stations.settled)
        if met:
            yield from self.moves.wait(self.stations.agreement)
        allowed = {before}
        if edge is not None and self.spec.no_reading.after is AfterFault.AFRESH:
            allowed |= {self.spec.normal, *(one.alarm for one in self.stations.edges)}
        passing = [one for one in self._passing() if one not in allowed]
        if not met:
            self.note(Outcome.FAIL, f"afterwards {before} did not come back: {self.moves.seen()}")
        elif passing:
            self.note(Outcome.FAIL, f"on the way back to {before}: showed {', '.join(passing)}")

    @property
    def _shown(self) -> bool:
        """Whether all indicators that can be seen show the fault, and any can be."""
        wrong = set(self.panel.dissenters(self.look))
        blind = set(self._blind())
        return wrong <= blind and len(blind) < len(self.spec.indicators)

    def _blind(self) -> list[int]:
        """Return the indicators whose node has fallen silent with the fault: nobody sees them."""
        places = range(len(self.spec.indicators))
        return [place for place in places if self.panel.unheard(place, self._since)]

    def _blind_spot(self) -> str:
        paths = [path for place in self._blind() for path in self.spec.indicators[place].signals]
        return f"; {', '.join(paths)} could not be seen meanwhile" if paths else ""

    def _passing(self) -> list[str]:
        """Return the bands that were shown since the panel began, each once."""
        shown: list[str] = []
        for change in self.panel.votes:
            bands = sorted(change.looks - set(SPECIAL))
            shown += bands[:1] if bands and not change.looks & set(SPECIAL) else []
        return list(dict.fromkeys(shown))

    def _age(self) -> Duration:
        ages = {STALE: self.spec.no_reading.stale_after, SILENT: self.spec.no_reading.silent_after}
        return ages.get(self.look) or ZERO


class SensorRestartProof(FaultProof):
    """The sensor's node restarts: no alarm comes by it, and none goes for good."""

    def __init__(self, spec: Spec, scene: Scene, place: Place, way: Way) -> None:
        super().__init__(spec, scene, place, way)
        self.word = SENSOR_RESTART

    def _from(self, edge: Edge | None) -> Steps[None]:
        before = self.spec.normal if edge is None else edge.alarm
        yield from self.moves.normal() if edge is None else self.moves.standing(edge)
        if not (yield from self.moves.restart(self.way)):
            node = self.signals[self.way.signal].node
            self.note(Outcome.INCONCLUSIVE, f"{node} did not come back from its restart")
            return
        yield from self.moves.wait(self.stations.settled)
        self.note(Outcome.PASS, f"restarted in {before}")
        yield from self._back(edge, before)


def worst_alarms(proof: Proof) -> list[Edge]:
    """Return the most severe alarm of each side that the stimulus can reach."""
    found: dict[bool, Edge] = {}
    for edge in sorted(proof.stations.edges, key=lambda one: one.severity):
        if proof.stations.middle(edge.alarm) is not None:
            found[edge.rising] = edge
    return list(found.values())


def not_judged(spec: Spec, what: str) -> str:
    """Return why a kind of fault is not judged although it could be provoked; empty where it is."""
    if what == STALE_VALUE and spec.no_reading.stale_after is None:
        return "the spec says that no value is ever too old"
    if what == SILENCE and spec.no_reading.silent_after is None:
        return "the spec says that silence is never shown"
    return ""
