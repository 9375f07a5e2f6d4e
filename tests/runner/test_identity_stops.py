"""A board that takes a node's place, in a whole session: before a case, and in the midst of one."""

import struct

import pytest
from crccheck.crc import Crc16CcittFalse
from runner.gauge import Gauge, describe
from wall.plain_node import NODE, READ

from hil.bench.loop import drive
from hil.bench.virtual import VirtualBench
from hil.core.event import (
    ActuatorSafe,
    CaseEnded,
    CaseStarted,
    CommandLogged,
    NodeConfirmed,
    NodeNoted,
    RunEnded,
)
from hil.core.instant import MILLISECOND, Instant
from hil.core.observation import NodeNote, NodeTrouble
from hil.runner.session import Phase, Session
from hil.wire.link import Links
from hil.wire.rack import Envelope

PLAN = """\
plan: Gauge
cases:
  - case: the arm moves
    steps:
      - stimulus: {gauge.arm: 45 deg}
        expect: [{signal: gauge.arm, value: 45 deg, tolerance: 1 deg, within: 500 ms}]
  - case: the arm moves on
    steps:
      - stimulus: {gauge.arm: -30 deg}
        expect: [{signal: gauge.arm, value: -30 deg, tolerance: 1 deg, within: 500 ms}]
"""


class Swapped(Gauge):
    """The gauge; from its request `after` on another board answers, and `lost` reads vanish."""

    def __init__(self, after: int = 1 << 30, *, lost: int = 0) -> None:
        super().__init__()
        self._after, self._lost = after, lost

    def receive(self, envelope: Envelope, now: Instant) -> None:
        if envelope.payload[4] == READ and self._lost:
            self._lost -= 1
            return
        super().receive(envelope, now)
        if len(self.heard) >= self._after:
            self._sends = [
                Envelope(e.source, e.destination, impostor(e.payload)) for e in self._sends
            ]


def impostor(octets: bytes) -> bytes:
    """Let a reading or an answer be one of node 99, with a check that fits."""
    body = octets[:1] + bytes([99]) + octets[2:-2]
    return body + struct.pack(">H", Crc16CcittFalse.calc(body))


def sit(rack, cases, gauge):
    bench = VirtualBench(rack, gauge)
    session, events = Session(rack, cases, Instant(0)), []
    drive(session, Links(rack, Instant(0)), bench, events.append, origin=Instant(0))
    return session, events


def of(events, kind):
    return [event for event in events if isinstance(event, kind)]


@pytest.fixture
def described(tmp_path):
    return describe(tmp_path, PLAN)


def test_a_warm_up_exchange_comes_before_the_first_case_and_is_journalled(described):
    _, events = sit(*described, Swapped())
    warm = [event for event in of(events, NodeConfirmed) if event.why == "warm-up"]
    names = [event.kind for event in events if event.kind != "datagram"]

    assert [(event.node, event.asked) for event in warm] == [("gauge", 1)]
    assert 0 < warm[0].took < 10 * MILLISECOND
    assert names.index("node-confirmed") < names.index("case-started")


def test_a_datagram_lost_in_the_warm_up_is_told_and_costs_no_case(described):
    """The first that asks for a reading vanishes, as while a hardware address is found."""
    _, events = sit(*described, Swapped(lost=1))
    lost = [event for event in of(events, NodeNoted) if event.trouble == "not answered"]

    assert [event.outcome for event in of(events, CaseEnded)] == ["pass", "pass"]
    assert len(lost) == 1
    assert lost[0].at < of(events, CaseStarted)[0].at
    assert of(events, NodeConfirmed)[0].asked == 2


def test_before_each_case_the_node_is_made_sure_of(described):
    _, events = sit(*described, Swapped())
    confirmed = [dict(e.facts)["number"] for e in of(events, NodeConfirmed) if e.why == "case"]

    assert confirmed == [str(NODE)] * 2


def test_a_board_swapped_between_two_cases_gets_nothing_of_the_second(described):
    straight = Swapped()
    sit(*described, straight)
    asked = [n for n, octets in enumerate(straight.heard, 1) if octets[4] == READ]
    gauge = Swapped(after=asked[-1])  # the last `read` is that before the second case
    session, events = sit(*described, gauge)
    first, second = of(events, CaseEnded)
    moved = [octets[4] for octets in gauge.heard[asked[-1] :]]

    assert (first.outcome, second.outcome) == ("pass", "error")
    assert f"says it is node 99; gauge is {NODE}" in second.reasons[0]
    assert moved == []  # neither a stimulus nor a safe command
    assert list(session.distrusted) == ["gauge"]
    assert not session.safe
    assert not any(event.confirmed for event in of(events, ActuatorSafe))
    assert of(events, RunEnded)[0].aborted.startswith("gauge is not the node it must be")


def test_a_board_that_shows_itself_in_the_warm_up_ends_the_session_before_anything_moves(
    described,
):
    rack, cases = described
    session = Session(rack, cases, Instant(0))
    note = NodeNote(
        node="gauge", trouble=NodeTrouble.IDENTITY, at=Instant(9), text="serial is PN-0666"
    )
    session._phase = Phase.WARM_UP
    session.receive(note, Instant(9))
    events = session.take_events()

    assert session.done
    assert not session.moved
    assert "gauge: serial is PN-0666" in of(events, RunEnded)[0].aborted
    assert not of(events, CommandLogged)
