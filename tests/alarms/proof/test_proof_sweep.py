"""An exhaustive sweep of all counts, up and down, finds the same points as the searches."""

from dataclasses import replace
from typing import ClassVar

import pytest
from alarms.proof.proving_ground import gauge_rack, gauge_spec, play, prove, titled, with_settings

from hil.alarms.proof.moves import Moves
from hil.alarms.proof.proof import Proof
from hil.alarms.proof.prove import ProofJob, proof_case
from hil.core.verdict import Outcome

QUICK = dict.fromkeys(
    ("low-off-delay", "high-on-delay", "highest-on-delay", "slowest-answer"), "0 ms"
)


class Sweep(Proof):
    """Every count from the middle of normal to one end and back; notes each change of the vote."""

    word = "sweep"
    found: ClassVar[list] = []

    def prove(self):
        moves: Moves = self.moves
        yield from moves.normal()
        home = self.stations.middle(self.spec.normal)
        for end in (0, 4095):
            step = 1 if end > home else -1
            yield from self.along(range(home, end + step, step))
            yield from moves.acknowledge()  # what is latched goes by itself from now on
            yield from self.along(range(end - step, home - step, -step))

    def along(self, way):
        before = self.panel.voted
        for count in way:
            yield from self.moves.impose(count)
            if self.panel.voted != before:
                (left,), (entered,) = before, self.panel.voted
                self.found.append((left, entered, count))
                before = self.panel.voted
        self.note(Outcome.PASS, "swept")


@pytest.mark.parametrize("mistake", ["none", "edge-late", "no-dead-band"])
def test_a_sweep_of_4096_counts_up_and_down_finds_the_same_points(mistake):
    spec = gauge_spec()
    rack = with_settings(gauge_rack(), {**QUICK, "fastest-answer": "0 ms", "mistake": mistake})
    bands = tuple(
        replace(band, on_delay=None, off_delay=None, latched=False) for band in spec.bands
    )
    quick = replace(spec, bands=bands)
    Sweep.found = []
    job = ProofJob(spec=quick, alarm="", word="sweep", make=lambda s, p: Sweep(quick, s, p))
    swept = play([proof_case(job, "sweep")], rack)
    assert swept.run.outcome is Outcome.PASS
    turns = {(left, entered): count for left, entered, count in Sweep.found}

    proven = prove(spec, rack, titled("trip point", "reset point"), repeats=1)
    order = [band.name for band in spec.bands]
    for point in proven.points:
        inner = order[order.index(point.alarm) + (1 if point.alarm.startswith("low") else -1)]
        pair = (inner, point.alarm) if point.point == "trip" else (point.alarm, inner)
        first = point.high if point.way == "rising" else point.low
        assert str(turns[pair]) == first, (point.alarm, point.point)
