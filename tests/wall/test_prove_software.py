"""A proof in real time over real UDP finds what it finds in virtual time."""

from pathlib import Path

import pytest

from hil.core.event import AlarmPoint
from hil.runner.options import Options
from hil.runner.proving import proofs
from hil.runner.run import run_plans

pytestmark = pytest.mark.wall

FIXTURES = Path(__file__).parents[2] / "fixtures"


def prove(reports, *, virtual: bool, only: str):
    options = Options(
        plans=(str(FIXTURES / "alarm-gauge-alarms.yaml"),),
        bench=str(FIXTURES / "alarm-gauge.yaml"),
        virtual=virtual,
        only=only,
        reports=str(reports),
    )
    events = []
    finished = run_plans(options, watch=events.append, say=lambda text: None, read=proofs(1))
    points = [event for event in events if isinstance(event, AlarmPoint)]
    outcomes = {case.title: case.outcome.word for case in finished.result.cases}
    return finished.code, outcomes, [(one.low, one.high, one.probes) for one in points]


@pytest.mark.parametrize("only", ["high: trip point", "high: on-delay", "every alarm"])
def test_a_proof_over_udp_is_the_one_of_virtual_time(tmp_path, only):
    wall = prove(tmp_path / "wall", virtual=False, only=only)

    assert wall == prove(tmp_path / "virtual", virtual=True, only=only)
    assert wall[0] == 0
