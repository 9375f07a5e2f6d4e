"""The line that is taken in turns, against its budget."""

import pytest
from bus.segments import ring, sizes
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.bus.budget import budget
from hil.bus.segment import Participant, Segment, frame_octets, wire_bt
from hil.bus.turns import Turns
from hil.core.instant import SECOND, Instant

PAYLOADS = (1, 100, 1472)


@st.composite
def schedules(draw):
    nodes = draw(st.integers(1, 5))
    payloads = [draw(st.sampled_from(PAYLOADS)) for _ in range(nodes)]
    ids = draw(st.permutations(range(nodes + 2)))[:nodes]
    participants = tuple(
        Participant(
            name=f"n{number}",
            plca_id=plca_id,
            to_timer=32,
            burst_count=draw(st.sampled_from([0, 0, 1, 2])),
            burst_timer=draw(st.sampled_from([40, 95, 96, 128, 255])),
        )
        for number, plca_id in enumerate([0, *(each + 1 for each in ids[1:])])
    )
    segment = Segment(participants=participants, node_count=nodes + 4, traffic=sizes(payloads))
    steps = st.one_of(st.just(0), st.integers(0, 3_000), st.integers(0, 2_000_000))
    frames = draw(st.lists(st.tuples(st.integers(0, nodes - 1), steps), min_size=1, max_size=60))
    return segment, payloads, frames


@given(schedules())
@settings(max_examples=150, deadline=None)
def test_no_access_delay_exceeds_the_bound(schedule):
    segment, payloads, frames = schedule
    line = Turns(segment, Instant(0))
    at = 0
    for who, step in frames:
        at += step
        line.advance(at - 1)
        line.offer(who, at, wire_bt(frame_octets(payloads[who])) * 100, who)
    line.advance(at + 100 * SECOND)

    access = budget(segment).access
    assert len(line.ended) == len(frames)
    for participant, waits in zip(segment.participants, line.waits, strict=True):
        assert waits.longest <= segment.lasting(access[participant.name])


@given(schedules())
@settings(max_examples=100, deadline=None)
def test_frames_never_overlap_and_each_queue_keeps_its_order(schedule):
    segment, payloads, frames = schedule
    line = Turns(segment, Instant(0))
    at = 0
    for number, (who, step) in enumerate(frames):
        at += step
        line.advance(at - 1)
        line.offer(who, at, wire_bt(frame_octets(payloads[who])) * 100, number)
    line.advance(at + 100 * SECOND)

    quiet = 0
    for end, _, wire, _ in line.ended:
        assert end - wire >= quiet
        quiet = end
    for who in range(len(payloads)):
        own = [thing for _, sender, _, thing in line.ended if sender == who]
        assert own == sorted(own)


@pytest.mark.parametrize("burst_count", [0, 1, 2])
@pytest.mark.parametrize("octets", [64, 1518])
@pytest.mark.parametrize(("nodes", "victim"), [(2, 0), (2, 1), (9, 0), (9, 4), (9, 8), (17, 16)])
def test_an_adversary_reaches_the_bound(nodes, victim, octets, burst_count):
    """Everybody fills its turn, each further frame as late as the burst timer allows."""
    assert_reached(nodes, [octets] * nodes, victim, burst_count)


@given(st.data(), st.integers(2, 12), st.sampled_from([0, 1, 3]))
@settings(max_examples=60, deadline=None)
def test_an_adversary_reaches_the_bound_of_any_segment(data, nodes, burst_count):
    sizes_of = st.lists(st.integers(64, 1518), min_size=nodes, max_size=nodes)
    assert_reached(nodes, data.draw(sizes_of), data.draw(st.integers(0, nodes - 1)), burst_count)


def assert_reached(nodes, octets, victim, burst_count):
    """See that the worst schedule makes the victim wait 95 % of its bound, and none more than it."""
    segment = ring(nodes, burst_count=burst_count, traffic=sizes([each - 46 for each in octets]))
    line = Turns(segment, Instant(0))
    for _ in range(2 + burst_count):
        line.offer(victim, 0, wire_bt(octets[victim]) * 100, "victim")
    while line.queues[victim]:
        at = line.next_event()
        for who in range(nodes):
            if who != victim and not line.queues[who]:
                line.offer(who, at, wire_bt(octets[who]) * 100, "rival")
        line.advance(at)

    bound = segment.lasting(budget(segment).access[f"n{victim}"])
    assert 0.95 * bound <= line.waits[victim].longest <= bound


def test_idle_cycles_cost_nothing_and_keep_their_phase():
    """After a year of empty cycles of 30.8 µs the turns open where they would have been."""
    year = 365 * 86_400 * SECOND
    late = year // 30_800 * 30_800
    for start in (0, late):
        line = Turns(ring(9), Instant(0))
        line.offer(3, start + 2_000 + 3 * 3_200, 58_400, None)
        line.advance(start + SECOND)

        assert line.ended == [(start + 2_000 + 3 * 3_200 + 58_400, 3, 58_400, None)]


@given(st.integers(0, 10**9), st.integers(0, 8))
def test_a_frame_on_a_quiet_line_starts_when_its_turn_opens(at, who):
    line = Turns(ring(9), Instant(0))
    line.offer(who, at, 58_400, None)
    line.advance(at + SECOND)
    begin = line.ended[0][0] - 58_400

    early = [opens for opens in (begin, begin - 9_600) if opens % 30_800 == 2_000 + who * 3_200]
    assert 0 <= begin - at <= 30_800 + 9_600
    assert early


def test_a_frame_at_the_very_opening_has_its_turn_and_one_later_has_not():
    waits = []
    for at in (2_000, 2_001):
        line = Turns(ring(9), Instant(0))
        line.offer(0, at, 58_400, None)
        line.advance(SECOND)
        waits.append(line.ended[0][0] - 58_400 - at)

    assert waits == [0, 30_799]


@pytest.mark.parametrize(("came", "gap"), [(98_000 - 39_600, 0), (98_000 - 39_601, 9_600)])
def test_a_frame_older_than_the_delay_line_pays_the_gap(came, gap):
    """IEEE 802.3cg-2019 148.4.5: up to 99 nibbles, 39.6 µs; turn 30 opens at 2 + 30 · 3.2 µs."""
    line = Turns(ring(40), Instant(0))
    line.offer(30, came, 58_400, None)
    line.advance(SECOND)

    assert line.ended[0][0] == 98_000 + gap + 58_400


def test_who_has_no_turn_never_sends():
    """A node count of 4 leaves out ids 4 and 5 (IEEE 802.3cg-2019 30.16.1.1.3)."""
    line = Turns(ring(6, node_count=4), Instant(0))
    for who in range(6):
        line.offer(who, 0, 58_400, None)
    line.advance(SECOND)

    assert [who for _, who, _, _ in line.ended] == [0, 1, 2, 3]


def test_a_burst_timer_below_the_gap_ends_every_burst_after_one_frame():
    lines = {
        timer: Turns(ring(2, burst_count=1, burst_timer=timer), Instant(0)) for timer in (95, 96)
    }
    for line in lines.values():
        for who in (0, 0, 1, 1):
            line.offer(who, 0, 58_400, None)
        line.advance(SECOND)

    assert [who for _, who, _, _ in lines[95].ended] == [0, 1, 0, 1]
    assert [who for _, who, _, _ in lines[96].ended] == [0, 0, 1, 1]
