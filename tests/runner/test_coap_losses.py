"""Each datagram of a CoAP run lost, doubled or held back in turn: the verdict stays the right one.

Whole runs in virtual time, on the software nodes of the seed bench.  What may change is how long
something takes: an answer comes after a retransmission, a lost notification is made up for when the
node tells everything again.  So the deadlines here are longer than that.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from hil.bench.loop import drive
from hil.bench.virtual import VirtualBench
from hil.core.event import CaseEnded, CommandLogged, RunEnded
from hil.core.instant import MILLISECOND, SECOND, Instant
from hil.files.read import read_plan, read_rack
from hil.nodes.rack import SoftwareRack
from hil.runner.session import Session
from hil.wire.coap.code import Code
from hil.wire.coap.message import Malformed, Type, decode
from hil.wire.link import Links

RACK = read_rack(Path(__file__).parents[2] / "fixtures" / "propagator.yaml")

PLAN = """\
plan: Losses
cases:
  - case: a decision
    steps:
      - stimulus: {STIMULUS}
        expect: [{signal: SIGNAL, value: VALUE, within: 2 s}]
"""

CASES = {
    "observed": ("bed.mode: automatic, bed.soil: 15 degC", "bed.mat.state", "heating", "cold"),
    "polled": ("hood.air.temperature: 35 degC", "hood.vent", "open", "closed"),
}
"""For a node: the stimulus, what follows, the right value and a wrong one."""

TRANSIT, HELD = 200_000, 30 * MILLISECOND
"""How long a datagram is under way, and how much longer one that is overtaken."""


class Disturbed:
    """A medium that does one thing to one datagram, by its place in the run."""

    def __init__(self, place=-1, way=""):
        self.place, self.way = place, way
        self.carried = []
        self._under_way = []
        self._now = Instant(-1)

    def receive(self, thing, now):
        place = len(self.carried)
        self.carried.append(thing)
        due, twice = now + TRANSIT, False
        if place == self.place:
            if self.way == "lost":
                return
            due += HELD if self.way == "overtaken" else 0
            twice = self.way == "doubled"
        self._under_way += [(due, place, thing)] + [(due + HELD, place, thing)] * twice
        self._under_way.sort(key=lambda entry: entry[:2])

    def tick(self, now):
        self._now = now

    def next_wakeup(self):
        return Instant(self._under_way[0][0]) if self._under_way else None

    def take_sends(self):
        arrived = tuple(thing for due, _, thing in self._under_way if due <= self._now)
        self._under_way = [entry for entry in self._under_way if entry[0] > self._now]
        return arrived


def case(kind, tmp_path, right=True):
    """Return the rack of one node alone, and a case of it: as it should be, or a wrong one."""
    stimulus, signal, good, bad = CASES[kind]
    value = good if right else f"{bad}, hold: 400 ms"
    text = PLAN.replace("STIMULUS", stimulus).replace("SIGNAL", signal).replace("VALUE", value)
    path = tmp_path / "plan.yaml"
    path.write_text(text)
    place = [node.name for node in RACK.nodes].index(signal.partition(".")[0])
    rack = replace(RACK, nodes=RACK.nodes[place : place + 1], depends={})
    return rack, read_plan(path, RACK).cases


def run(rack, cases, medium):
    """Run cases; return the events."""
    bench = VirtualBench(rack, SoftwareRack(rack, Instant(0)), medium=medium)
    session = Session(rack, cases, Instant(0))
    events = []
    drive(
        session,
        Links(rack, Instant(0)),
        bench,
        events.append,
        origin=Instant(0),
        record_datagram=lambda *datagram: None,
    )
    return events


def outcomes(events):
    return [event.outcome for event in events if isinstance(event, CaseEnded)]


def is_safe(events):
    return next(event.safe for event in events if isinstance(event, RunEnded))


def datagrams(rack, cases):
    """Return what the run carries that nobody disturbs."""
    medium = Disturbed()
    run(rack, cases, medium)
    assert len(medium.carried) > 20
    return medium.carried


WAYS = ("lost", "doubled", "overtaken")


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("kind", CASES)
def test_a_disturbed_datagram_never_changes_the_verdict(kind, way, tmp_path):
    rack, cases = case(kind, tmp_path)
    for place in range(len(datagrams(rack, cases))):
        events = run(rack, cases, Disturbed(place, way))

        assert outcomes(events) == ["pass"], place
        assert is_safe(events), place


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("kind", CASES)
def test_a_disturbed_datagram_never_saves_a_wrong_node(kind, way, tmp_path):
    rack, cases = case(kind, tmp_path, right=False)
    for place in range(0, len(datagrams(rack, cases)), 7):
        events = run(rack, cases, Disturbed(place, way))

        assert outcomes(events) == ["fail"], place


def test_a_lost_command_is_sent_again_and_the_journal_says_so(tmp_path):
    rack, cases = case("polled", tmp_path)
    carried = datagrams(rack, cases)
    puts = [place for place, thing in enumerate(carried) if is_put(thing.payload)]
    events = run(rack, cases, Disturbed(puts[0], "lost"))
    details = [e.detail for e in events if isinstance(e, CommandLogged) and e.state == "accepted"]

    assert details[0] == "2.04 Changed after 2 transmissions"
    assert set(details[1:]) == {"2.04 Changed"}


class Dead(Disturbed):
    """A medium that carries nothing any more from a moment on."""

    def receive(self, thing, now):
        if now < 3 * SECOND:
            super().receive(thing, now)


QUIET = """\
plan: Quiet
cases:
  - case: something happens
    steps:
      - expect: [{signal: bed.mat.state, value: heating, within: 10 s}]
"""


def test_a_node_that_falls_silent_is_no_bare_time_out(tmp_path):
    path = tmp_path / "plan.yaml"
    path.write_text(QUIET)
    rack = replace(RACK, nodes=RACK.nodes[:1], depends={})
    events = run(rack, read_plan(path, RACK).cases, Dead())
    (check,) = [event for event in events if event.kind == "check" and event.step]

    assert outcomes(events) == ["fail"]
    assert "; /mat: no answer to 4 transmissions" in check.text


def is_put(payload):
    try:
        message = decode(payload)
    except Malformed:
        return False
    return message.type is Type.CONFIRMABLE and message.code == Code.PUT
