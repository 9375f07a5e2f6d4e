"""The segment as a machine."""

from collections import Counter
from decimal import Decimal

import pytest
from bus.segments import ring
from hypothesis import given, settings
from hypothesis import strategies as st
from laws import obey, run

from hil.bus.budget import budget
from hil.bus.medium import SegmentMedium
from hil.bus.segment import Traffic, wire_bt
from hil.bus.spoiler import Noise
from hil.core.instant import MILLISECOND, SECOND, Instant
from hil.wire.rack import Address, Envelope

HOST = "127.0.0.1"
NODES = [Address(HOST, 47_800 + number) for number in range(6)]
TOOL = Address(HOST, 49_152)
STATIONS = {address: f"n{number}" for number, address in enumerate(NODES) if number}
LATE = 2_000 * SECOND


def medium(segment=None, **settings):
    return SegmentMedium(segment or ring(6), STATIONS, "n0", **settings)


def letter(source, destination, size=18, mark=0):
    return Envelope(source, destination, mark.to_bytes(4, "big") + bytes(max(0, size - 4)))


def arrivals(machine, things, until=LATE):
    """Return (envelope, instant) of everything that arrives."""
    seen = []
    for at, thing in things:
        while (wakeup := machine.next_wakeup()) is not None and wakeup < at:
            machine.tick(wakeup)
            seen += machine.take_deliveries()
        machine.receive(thing, Instant(at))
    while (wakeup := machine.next_wakeup()) is not None and wakeup <= until:
        machine.tick(wakeup)
        seen += machine.take_deliveries()
    return seen


def test_a_datagram_arrives_with_its_last_bit():
    """Turn 2 opens after the beacon and two unused turns: 2.0 + 6.4 µs; then 58.4 µs."""
    thing = letter(NODES[2], NODES[3])

    assert arrivals(medium(), [(0, thing)]) == [(thing, 8_400 + 58_400)]


def test_an_unknown_address_is_the_tool():
    thing = letter(NODES[1], TOOL)
    answer = letter(TOOL, NODES[1])

    assert arrivals(medium(), [(0, thing), (0, answer)]) == [
        (answer, 2_000 + 58_400),
        (thing, 2_000 + 68_000 + 58_400),
    ]


def test_all_answer_at_once_and_nothing_collides():
    """Eight hundred of eight hundred: what a healthy segment does with simultaneous answers."""
    machine = medium()
    things = [
        (round_ * 2 * MILLISECOND, letter(node, TOOL, mark=round_))
        for round_ in range(160)
        for node in NODES[1:]
    ]

    assert len(arrivals(machine, things)) == 800
    assert sum(share.collisions for share in machine.counters().shares) == 0


@pytest.mark.parametrize("host", ["239.1.2.3", "224.0.0.1", "255.255.255.255", "ff02::1"])
def test_a_group_datagram_reaches_everybody_else(host):
    stations = {TOOL: "n0", **STATIONS}
    machine = SegmentMedium(ring(6), stations, "n0")
    seen = arrivals(machine, [(0, letter(NODES[2], Address(host, 5000)))])

    assert {thing.destination for thing, _ in seen} == {TOOL, *NODES[1:]} - {NODES[2]}
    assert len({at for _, at in seen}) == 1
    assert machine.counters().frames == 1


def test_a_group_copy_keeps_the_port_where_it_can():
    second = Address(HOST, 5000)
    machine = SegmentMedium(ring(6), {**STATIONS, second: "n3"}, "n0")
    seen = arrivals(machine, [(0, letter(NODES[2], Address("239.1.2.3", 5000)))])

    assert second in {thing.destination for thing, _ in seen}
    assert NODES[3] not in {thing.destination for thing, _ in seen}


def test_the_tool_hears_two_groups_of_one_port_apart():
    groups = [Address(f"239.1.2.{number}", 5000) for number in (3, 4)]
    heard = {group: Address(HOST, 60_000 + number) for number, group in enumerate(groups)}
    stations = {TOOL: "n0", **STATIONS}
    machine = SegmentMedium(ring(6), stations, "n0", heard=heard)
    seen = arrivals(machine, [(0, letter(NODES[2], group)) for group in groups])

    assert [thing.destination for thing, _ in seen if thing.destination not in NODES] == [
        *heard.values()
    ]
    assert all(heard[group] not in NODES for group in groups) and len(seen) == 2 * 5


def test_within_one_host_nothing_goes_on_the_line():
    machine = medium()
    thing = letter(NODES[2], NODES[2])

    assert arrivals(machine, [(5, thing)]) == [(thing, 5)]
    assert machine.counters().frames == 0


def test_a_large_datagram_takes_several_frames_and_arrives_with_the_last():
    """1473 octets over IPv4: frames of 1518 and 64 octets, each with its own turn."""
    machine = medium()
    seen = arrivals(machine, [(0, letter(NODES[1], NODES[2], 1473))])
    first = 5_200 + wire_bt(1518) * 100
    second = first + 4 * 3_200 + 2_000 + 3_200 + 9_600 + wire_bt(64) * 100

    assert [at for _, at in seen] == [second]
    assert machine.counters().frames == 2


def test_a_full_queue_refuses_and_says_so():
    machine = medium(queue=3)
    things = [(0, letter(NODES[1], TOOL, mark=mark)) for mark in range(5)]
    seen = arrivals(machine, things)
    share = machine.counters().shares[1]

    assert [thing.payload[3] for thing, _ in seen] == [0, 1, 2]
    assert (share.handed, share.sent, share.refused, share.waiting) == (5, 3, 2, 0)


def test_who_is_left_out_by_the_node_count_only_waits():
    machine = medium(ring(6, node_count=4))
    seen = arrivals(machine, [(0, letter(node, TOOL)) for node in NODES[1:]])

    assert [thing.source for thing, _ in seen] == NODES[1:4]
    assert [share.waiting for share in machine.counters().shares] == [0, 0, 0, 0, 1, 1]


def test_noise_loses_what_it_says():
    """3 of 100 frames swallowed, and 1e-5 of the bits turned: 584 of them in a frame."""
    machine = medium(noise=Noise(bit_errors=Decimal("1e-5"), loss=Decimal("0.03")), seed=7)
    things = [(mark * MILLISECOND, letter(NODES[1], TOOL, mark=mark)) for mark in range(20_000)]
    seen = arrivals(machine, things)
    counters = machine.counters()

    assert counters.frames == 20_000
    assert counters.lost == pytest.approx(600, rel=0.15)
    assert counters.spoiled == pytest.approx(19_400 * (1 - (1 - 1e-5) ** 584), rel=0.3)
    assert len(seen) == 20_000 - counters.lost - counters.spoiled


def test_a_datagram_with_one_frame_ruined_does_not_arrive():
    machine = medium(noise=Noise(loss=Decimal("0.5")), seed=3)
    things = [(mark * SECOND, letter(NODES[1], TOOL, 2000, mark)) for mark in range(400)]
    seen = arrivals(machine, things)

    assert machine.counters().frames == 800
    assert len(seen) == pytest.approx(100, rel=0.3)


@pytest.mark.parametrize("segment", [ring(6, plca=False), ring(6, node_count=0)])
def test_without_beacons_nodes_contend(segment):
    """A segment nobody coordinates falls back to CSMA/CD; two that start at once collide."""
    machine = medium(segment)
    seen = arrivals(machine, [(100, letter(node, TOOL)) for node in NODES[1:]])

    assert len(seen) == 5
    assert [share.collisions > 0 for share in machine.counters().shares] == [False] + [True] * 5


def test_after_sixteen_collisions_a_frame_is_given_up():
    machine = medium(ring(6, plca=False), queue=4_000)
    things = [(0, letter(node, TOOL, 1400)) for _ in range(400) for node in NODES[1:]]
    seen = arrivals(machine, things)
    given_up = sum(share.given_up for share in machine.counters().shares)

    assert given_up > 0
    assert len(seen) == 2_000 - given_up


letters = st.lists(
    st.tuples(
        st.one_of(st.just(0), st.integers(0, 200_000)),
        st.integers(0, 5),
        st.integers(0, 5),
        st.sampled_from([4, 18, 200, 1472, 2000]),
    ),
    max_size=40,
)
segments = st.sampled_from(
    [ring(6), ring(6, burst_count=2), ring(6, plca=False), ring(6, node_count=20)]
)


def timed(entries):
    at, things = 0, []
    for mark, (step, source, destination, size) in enumerate(entries):
        at += step
        where = [TOOL, *NODES[1:]]
        things.append((at, letter(where[source], where[destination], size, mark)))
    return things


@given(letters, segments, st.integers(0, 3))
@settings(max_examples=100, deadline=None)
def test_nothing_is_lost_or_doubled(entries, segment, seed):
    things = timed(entries)
    machine = medium(segment, seed=seed)
    seen = arrivals(machine, things)

    assert Counter(thing for _, thing in things) == Counter(thing for thing, _ in seen)
    assert [at for _, at in seen] == sorted(at for _, at in seen)
    handed = {thing: at for at, thing in things}
    assert all(at >= handed[thing] for thing, at in seen)


@given(letters, segments, st.sampled_from(["0", "0.2"]))
@settings(max_examples=60, deadline=None)
def test_the_medium_obeys_the_laws(entries, segment, loss):
    obey(
        lambda: medium(segment, seed=4, noise=Noise(loss=Decimal(loss)), queue=12),
        timed(entries),
        until=50 * MILLISECOND,
        state=lambda machine: machine.counters(),
    )


@given(
    st.lists(
        st.tuples(st.integers(1, 5), st.sampled_from([18, 700]), st.sampled_from([18, 1400])),
        min_size=1,
        max_size=5,
    ),
    st.integers(3, 30),
    st.data(),
)
@settings(max_examples=60, deadline=None)
def test_no_round_trip_takes_longer_than_its_path_says(exchanges, every, data):
    interval = every * MILLISECOND
    declared = tuple(
        Traffic(
            name=f"{mark}",
            sender=f"n{who}",
            receiver="n0",
            payload=asked,
            answer=answered,
            interval=interval,
        )
        for mark, (who, asked, answered) in enumerate(exchanges)
    )
    segment = ring(6, traffic=declared)
    machine = medium(segment)
    things = []
    for mark, (who, asked, _) in enumerate(exchanges):
        first = data.draw(st.integers(0, interval))
        things += [
            (first + turn * interval, letter(NODES[who], TOOL, asked, mark)) for turn in range(6)
        ]
    answers = {
        letter(NODES[who], TOOL, asked, mark): letter(TOOL, NODES[who], answered, mark)
        for mark, (who, asked, answered) in enumerate(exchanges)
    }

    bounds = {path.traffic.name: path.worst_round for path in budget(segment).paths}
    for mark, longest in round_trips(machine, sorted(things, key=lambda each: each[0]), answers):
        bound = bounds[f"{mark}"]
        assert bound is None or longest <= segment.lasting(bound)


def round_trips(machine, things, answers):
    """Answer every request as it arrives; return (mark, time) of each exchange."""
    asked, seen, queue = {}, [], list(things)
    while True:
        wakeup = machine.next_wakeup()
        if queue and (wakeup is None or queue[0][0] <= wakeup):
            at, thing = queue.pop(0)
            asked.setdefault(thing.payload[3], []).append(at)
            machine.receive(thing, Instant(at))
        elif wakeup is None:
            return seen
        else:
            machine.tick(wakeup)
            for thing in machine.take_sends():
                mark = thing.payload[3]
                if thing in answers:
                    machine.receive(answers[thing], wakeup)
                else:
                    seen.append((mark, wakeup - asked[mark].pop(0)))


def test_a_loop_that_does_not_wake_it_in_time_changes_nothing():
    """What came first is sent first, even if nobody asked for it in between."""
    things = [
        (0, letter(NODES[5], TOOL)),
        (300_000, letter(NODES[1], TOOL)),
        (300_001, letter(NODES[2], NODES[1])),
    ]
    sleepy = medium()
    for at, thing in things:
        sleepy.receive(thing, Instant(at))
    sleepy.tick(Instant(MILLISECOND))

    assert sleepy.take_deliveries() == arrivals(medium(), things)


def test_one_seed_one_outcome():
    things = [(mark * 50_000, letter(NODES[1 + mark % 5], TOOL, 900, mark)) for mark in range(500)]

    def outcome(seed):
        machine = medium(ring(6, plca=False), seed=seed, noise=Noise(loss=Decimal("0.1")))
        return run(machine, things, SECOND), machine.counters()

    assert outcome(1) == outcome(1)
    assert outcome(1) != outcome(2)


def test_counters_say_how_busy_the_line_was():
    """Ten frames of 58.4 µs in ten milliseconds: 5.84 %."""
    machine = medium()
    things = [(mark * MILLISECOND, letter(NODES[1], TOOL, mark=mark)) for mark in range(10)]
    run(machine, things, 10 * MILLISECOND)

    assert machine.counters().utilisation == pytest.approx(0.0584)
    assert machine.counters().shares[1].airtime == 584_000


@pytest.mark.parametrize("nodes", [3, 6])
def test_names_must_be_the_segments(nodes):
    if nodes == 6:
        medium()
        return
    with pytest.raises(ValueError, match="n3, n4, n5"):
        medium(ring(nodes))
