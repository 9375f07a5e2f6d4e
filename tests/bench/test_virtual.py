"""The virtual bench: time jumps, order, the horizon's promise, and plans that wait for ever."""

from dataclasses import replace
from pathlib import Path

import pytest
from bench.small import FIRST, SECOND, SMALL, Echo, ms, packet, rack
from hypothesis import given, settings
from hypothesis import strategies as st
from laws import obey

from hil.bench.bench import Arrival
from hil.bench.medium import SteadyMedium
from hil.bench.segment import segment_medium
from hil.bench.virtual import VirtualBench
from hil.core.error import BenchError
from hil.core.instant import Duration, Instant
from hil.core.observation import Abort
from hil.files.read import read_rack
from hil.wire.rack import Address, Envelope


def test_an_answer_takes_two_transits_and_the_nodes_own_delay():
    bench = VirtualBench(SMALL, Echo(delay=ms(5)), medium=SteadyMedium(Duration(ms(0.2))))
    bench.send(packet(b"hello"))

    arrivals, horizon = bench.wait(ms(100))

    assert [Arrival(packet(b"hello"), ms(5.4))] == arrivals
    assert ms(5.4) == horizon


class Talkers(Echo):
    """Nodes that say something by themselves, at the beginning."""

    def __init__(self, said):
        super().__init__()
        self._sends += said


def test_on_a_segment_what_comes_to_two_groups_of_one_port_stays_apart():
    """Each node's own group, and one that is nobody's; a node has the port of all of them."""
    annexe = read_rack(Path(__file__).parents[2] / "fixtures" / "annexe.yaml")
    feedline, circulator, beacon = annexe.nodes
    board = annexe.discovery.group
    told = Address("239.255.20.22", board.port)
    beacon = replace(beacon, address=Address(annexe.host, board.port))
    nodes = (feedline, replace(circulator, readings_to=told), beacon)
    annexe = replace(annexe, nodes=nodes)
    said = [
        Envelope(feedline.address, feedline.readings_to, b"1"),
        Envelope(circulator.address, told, b"2"),
        Envelope(beacon.address, board, b"3"),
    ]
    bench = VirtualBench(annexe, Talkers(said), medium=segment_medium(annexe, Instant(0)))
    heard = [each.thing for _ in range(3) for each in bench.wait(ms(1))[0]]

    assert {(each.node, each.payload) for each in heard} == {
        ("feedline", b"1"),
        ("circulator", b"2"),
        (str(board), b"3"),
    }


class Diarist(Echo):
    """One node that does something by itself at 1 ms, and writes down what came when."""

    def __init__(self):
        super().__init__()
        self.diary = []
        self._due = ms(1)

    def receive(self, thing, now):
        self.diary.append(("heard", now))

    def tick(self, now):
        self.diary.append(("did", now))
        self._due = None

    def next_wakeup(self):
        return self._due


def test_at_one_instant_an_envelope_arrives_before_the_nodes_own_timer():
    nodes = Diarist()
    bench = VirtualBench(SMALL, nodes, medium=SteadyMedium(Duration(ms(1))))
    bench.send(packet())

    bench.wait(ms(2))

    assert nodes.diary == [("heard", ms(1)), ("did", ms(1))]


def test_time_jumps_to_the_instant_that_is_waited_for():
    bench = VirtualBench(SMALL, Echo())

    assert ([], ms(3_600_000)) == bench.wait(ms(3_600_000))
    assert ms(3_600_000) == bench.now()


def test_an_arrival_at_the_very_instant_waited_for_is_handed_over():
    bench = VirtualBench(SMALL, Echo(), medium=SteadyMedium(Duration(ms(1))))
    bench.send(packet())

    arrivals, horizon = bench.wait(ms(2))

    assert (1, ms(2)) == (len(arrivals), horizon)


def test_an_arrival_one_nanosecond_later_is_not():
    bench = VirtualBench(SMALL, Echo(), medium=SteadyMedium(Duration(ms(1))))
    bench.send(packet())

    assert ([], ms(2) - 1) == bench.wait(Instant(ms(2) - 1))


def test_waiting_for_the_past_hands_over_and_does_not_go_back():
    bench = VirtualBench(SMALL, Echo(), start=ms(10))

    assert ([], ms(10)) == bench.wait(ms(3))


def test_a_plan_that_waits_for_ever_is_an_error():
    with pytest.raises(BenchError, match="wait for ever"):
        VirtualBench(SMALL, Echo()).wait(None)


def test_a_foreign_source_is_kept_as_it_came():
    class Stranger(Echo):
        def receive(self, thing, now):
            super().receive(Envelope(thing.source, SECOND, b"from the second"), now)

    bench = VirtualBench(SMALL, Stranger())
    bench.send(packet(peer=FIRST))

    arrivals, _ = bench.wait(ms(10))

    assert [(arrival.thing.node, arrival.thing.peer) for arrival in arrivals] == [("n1", SECOND)]


def test_nodes_talk_to_each_other_over_the_same_medium():
    class Chain(Echo):
        """The first node passes on to the second, the second says nothing."""

        def receive(self, thing, now):
            self.heard.append((now, thing.payload))
            if thing.destination == FIRST:
                self._sends.append(Envelope(FIRST, SECOND, thing.payload))

    nodes = Chain()
    bench = VirtualBench(SMALL, nodes, medium=SteadyMedium(Duration(ms(1))))
    bench.send(packet(b"on"))
    bench.wait(ms(10))

    assert [(ms(1), b"on"), (ms(2), b"on")] == nodes.heard


def test_what_nodes_say_before_anything_happened_is_carried():
    nodes = Echo(delay=ms(10))
    nodes._sends.append(Envelope(FIRST, SECOND, b"announce"))

    VirtualBench(SMALL, nodes).wait(ms(1))

    assert [payload for _, payload in nodes.heard] == [b"announce"]


def test_the_tools_own_addresses_are_nobody_elses():
    taken = [Address("127.0.0.1", port) for port in range(49_152, 49_156)]
    bench = VirtualBench(rack(*taken), Echo())

    assert not set(taken) & set(bench.local.values())


def test_nodes_that_do_not_let_time_pass_are_found_out():
    class Stuck(Echo):
        def next_wakeup(self):
            return ms(1)

    with pytest.raises(BenchError, match="do not let time pass beyond 1000000 ns"):
        VirtualBench(SMALL, Stuck()).wait(ms(5))


def test_somebody_who_wants_the_run_to_end_is_heard():
    abort = Abort(reason="ended by SIGINT", at=ms(0), patience=Duration(0))

    arrivals, _ = VirtualBench(SMALL, Echo(), abort=lambda now: abort).wait(ms(5))

    assert [abort] == [arrival.thing for arrival in arrivals]


@settings(max_examples=100, deadline=None)
@given(
    sends=st.lists(st.tuples(st.integers(0, 5_000), st.integers(0, 2)), max_size=20),
    delay=st.integers(0, 3_000),
    transit=st.integers(0, 1_000),
)
def test_the_horizon_keeps_its_promise(sends, delay, transit):
    bench = VirtualBench(SMALL, Echo(delay), medium=SteadyMedium(Duration(transit)))
    floor, seen = 0, 0
    for pause, copies in sends:
        arrivals, horizon = bench.wait(Instant(floor + pause))
        instants = [arrival.at for arrival in arrivals]
        assert instants == sorted(instants)
        assert all(floor <= at <= horizon for at in instants)
        floor, seen = horizon, seen + len(arrivals)
        for _ in range(copies):
            bench.send(packet())
    seen += sum(len(bench.wait(Instant(10**9 + count))[0]) for count in range(100))
    assert seen == sum(copies for _, copies in sends)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.integers(0, 10_000), max_size=10))
def test_the_medium_obeys_the_laws(instants):
    things = [(at, Envelope(FIRST, SECOND, b"%d" % at)) for at in sorted(instants)]

    obey(SteadyMedium, things, 1_000_000, lambda medium: medium.next_wakeup())
