"""Noise inside the dead band: one alarm, no second transition.  The probes keep the input's own noise away from the edges.

    trip     ~~~~~ . . . . ~~~~~       beyond, inside, beyond, inside ...    stays
    reset    . . . ~~~~~ . . . . .     and from below: inside only           does not come

Each dwell is long enough for a node without a dead band to show itself.  If it does, its
activations per minute are held against the usual definition (hil.alarms.chatter).
"""

import math

from hil.alarms.chatter import USUAL_COUNT, chattering_at, most_per_window
from hil.alarms.edge import Edge
from hil.alarms.proof.dialogue import Steps
from hil.alarms.proof.proof import Place, Proof
from hil.alarms.spec import Spec
from hil.alarms.target import reset_target, trip_target
from hil.core.count import counted
from hil.core.instant import Instant
from hil.core.scene import Scene
from hil.core.verdict import Outcome

DIPS = USUAL_COUNT + 1
"""How often the input dips into the dead band: enough to meet the usual definition."""


class ChatterProof(Proof):
    """The dead band of one edge."""

    word = "chatter"

    def __init__(self, spec: Spec, scene: Scene, place: Place, edge: Edge) -> None:
        super().__init__(spec, scene, place, edge.alarm)
        self.edge = edge
        trip = trip_target(spec, edge, self.stations.grid)
        reset = reset_target(spec, edge, self.stations.grid)
        self._inside = (trip.last_before, reset.last_before)
        self._beyond = trip.first_beyond
        noise = self.stations.input.noise / self.stations.grid.step
        self._noise = math.ceil(noise) if noise > 1 else 0

    def prove(self) -> Steps[None]:
        near, deep = self._inside
        if near is None or deep is None or self._beyond is None:
            self.note(Outcome.INCONCLUSIVE, "the dead band reaches beyond the range")
            return
        inwards = -self._noise if self.edge.rising else self._noise
        near, deep, beyond = near + inwards, deep - inwards, self._beyond - inwards
        if (near < deep) if self.edge.rising else (near > deep):
            self.note(Outcome.INCONCLUSIVE, "the dead band is narrower than the input's own noise")
            return
        stations, moves = self.stations, self.moves
        yield from moves.standing(self.edge)
        self.panel.begin()
        for _ in range(DIPS):
            for count in (near, deep):
                yield from moves.impose(count)
                yield from moves.wait(stations.after_off(self.edge))
            if self.edge.latched:
                yield from moves.acknowledge()  # what has cleared behind the latch shows now
            yield from moves.impose(beyond)
            yield from moves.wait(stations.after_on(self.edge))
        self._judge(True, f"{DIPS} dips into the dead band")
        yield from moves.normal()
        self.panel.begin()
        for _ in range(DIPS):
            for count in (deep, near):
                yield from moves.impose(count)
                yield from moves.wait(stations.after_on(self.edge))
        self._judge(False, f"{2 * DIPS} values inside the dead band, coming from normal")

    def _judge(self, stood: bool, what: str) -> None:
        turns = [(c.at, self.moves.stands(self.edge, c.looks)) for c in self.panel.votes]
        wrong = [at for at, stands in turns if stands is not stood]
        activations: list[Instant] = [at for at, stands in turns if stands is True]
        if not wrong:
            self.note(Outcome.PASS, f"{what}: no transition")
            return
        text = f"{what}: {counted(len(turns), 'transition')}, wanted none; at most "
        text += f"{counted(most_per_window(activations), 'activation')} within a minute"
        if chattering_at(activations) is not None:
            text += f", which is chattering by the usual definition ({USUAL_COUNT} in 60 s)"
        self.measured.append(("transitions", str(len(turns))))
        self.note(Outcome.FAIL, text)
