"""Budgets of declared traffic, and how deadlines stand to them."""

from fractions import Fraction

import pytest
from bus.segments import ring
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.bus.budget import budget
from hil.bus.deadline import Fit, rule
from hil.bus.segment import Participant, Segment, Traffic, wire_bt
from hil.bus.turns import Turns
from hil.core.instant import MILLISECOND, SECOND, Duration, Instant

MS = MILLISECOND


def traffic(sender, payload, interval, receiver="n0", answer=None):
    return Traffic(
        name=f"{sender} to {receiver}",
        sender=sender,
        receiver=receiver,
        payload=payload,
        interval=Duration(interval),
        answer=answer,
    )


def test_declared_sizes_make_the_full_cycle():
    """20 + 680 (n0 declares none: one smallest frame) + 12312 + 680 + 5 · 32."""
    segment = ring(
        3, node_count=8, traffic=(traffic("n1", 1472, SECOND), traffic("n2", 18, SECOND))
    )

    assert budget(segment).full == 20 + 680 + 12312 + 680 + 5 * 32


def test_demand_counts_frames_gaps_and_answers():
    """680 bt each way, 1000 times a second, of 10⁷ bt."""
    segment = ring(2, traffic=(traffic("n1", 18, MS, answer=18),))

    assert budget(segment).demand == Fraction(2 * 680 * 1000, 10_000_000)


def test_typical_cycle_lies_between_empty_and_full():
    """C = 276 / (1 - 0.0648): 680 bt replace 32 bt a thousand times a second."""
    planned = budget(ring(8, traffic=(traffic("n1", 18, MS),)))

    assert planned.typical == 296
    assert planned.empty < planned.typical < planned.full


def test_silent_segment_is_as_typical_as_empty():
    planned = budget(ring(8))

    assert planned.empty == planned.typical


def test_overload_is_named():
    planned = budget(ring(2, traffic=(traffic("n1", 1472, MS),)))

    assert planned.demand > 1
    assert planned.overloaded == ("n1",)
    assert planned.paths[0].worst is None


def test_a_path_alone_waits_one_access_delay():
    """n1 missed its turn: 32 + 680 of n0 + beacon 20 + gap 96, then 584 on the wire; or it sends
    frame after frame: 680 + 680 + 20, and 584."""
    path = budget(ring(2, traffic=(traffic("n1", 18, SECOND, answer=18),))).paths[0]

    assert (path.best, path.worst) == (584, 1380 + 584)
    assert (path.best_round, path.worst_round) == (2 * 584, 2 * (1380 + 584))


def test_a_second_datagram_of_the_node_costs_one_more_cycle():
    flows = (traffic("n1", 18, SECOND), traffic("n1", 18, SECOND))

    assert budget(ring(2, traffic=flows)).paths[0].worst == 2 * 1380 + 584
    assert budget(ring(2, burst_count=1, traffic=flows)).paths[0].worst < 4 * 1380


def test_late_requests_make_answers_bunch():
    """Every 300 µs; a request may be 196.4 µs late, so two answers can meet in one queue."""
    path = budget(ring(2, traffic=(traffic("n1", 18, 300_000, answer=18),))).paths[0]

    assert path.worst_round == (1380 + 584) + (2 * 1380 + 584)


def test_everybody_answers_a_group():
    """The round trip is over when the last has answered."""
    path = budget(ring(3, traffic=(traffic("n0", 18, SECOND, receiver="", answer=18),))).paths[0]

    assert path.worst_round == 2 * path.worst


def test_without_turns_nothing_is_bounded():
    planned = budget(ring(2, plca=False, traffic=(traffic("n1", 18, SECOND),)))

    assert planned.access == {"n0": None, "n1": None}
    assert planned.paths[0].worst is None
    assert planned.paths[0].best == 584


def test_who_has_no_turn_has_no_bound():
    segment = Segment(
        participants=(Participant(name="n0", plca_id=0), Participant(name="n1", plca_id=9)),
        traffic=(traffic("n1", 18, SECOND),),
    )

    assert budget(segment).access["n1"] is None
    assert budget(segment).paths[0].worst is None


@given(
    st.lists(
        st.tuples(st.integers(0, 3), st.sampled_from([18, 300, 1472, 3000]), st.integers(3, 60)),
        min_size=1,
        max_size=8,
    ),
    st.sampled_from([0, 1]),
    st.data(),
)
@settings(max_examples=100, deadline=None)
def test_no_datagram_takes_longer_than_its_path_says(flows, burst_count, data):
    """Every flow starts when it likes and keeps its interval; n3 sends nothing it did not say."""
    declared = tuple(traffic(f"n{who}", size, every * MS, "") for who, size, every in flows)
    segment = ring(4, node_count=6, burst_count=burst_count, traffic=declared)
    planned = budget(segment)
    handed = []
    for flow in declared:
        first = data.draw(st.integers(0, flow.interval))
        handed += [(first + turn * flow.interval, int(flow.sender[1:]), flow) for turn in range(20)]
    line = Turns(segment, Instant(0))
    last = {}
    for at, who, flow in sorted(handed, key=lambda each: each[:2]):
        line.advance(at - 1)
        frames = len(last)
        for wire in wires(flow.payload):
            line.offer(who, at, wire, (frames, at, flow))
        last[frames] = 0
    line.advance(at + 100 * SECOND)
    for end, _, _, (frames, _, _) in line.ended:
        last[frames] = end

    worst = {path.traffic.name: path.worst for path in planned.paths}
    for _, _, _, (frames, at, flow) in line.ended:
        bound = worst[flow.name]
        assert bound is None or last[frames] - at <= segment.lasting(bound)


def wires(payload):
    sizes_of = {18: [64], 300: [346], 1472: [1518], 3000: [1518, 1518, 86]}
    return [wire_bt(octets) * 100 for octets in sizes_of[payload]]


@pytest.mark.parametrize(
    ("best", "worst", "deadline", "fit"),
    [
        (100, 400, 99, Fit.IMPOSSIBLE),
        (100, 400, 100, Fit.TIGHT),
        (100, 400, 399, Fit.TIGHT),
        (100, 400, 799, Fit.TIGHT),
        (100, 400, 800, Fit.COMFORTABLE),
        (100, None, 10**9, Fit.TIGHT),
        (100, None, 99, Fit.IMPOSSIBLE),
    ],
)
def test_deadlines(best, worst, deadline, fit):
    assert rule(Duration(best), worst, Duration(deadline)).fit is fit


def test_rulings_say_how_much_is_left():
    ruling = rule(58_400 * 2, Duration(3 * MS), Duration(5 * MS))

    assert ruling.sentence == "the line may need 3 ms of 5 ms: 2 ms are left for the node"


@pytest.mark.parametrize("rate", [0, -1, 3_000_000, 10**10])
def test_a_bit_time_must_be_whole(rate):
    with pytest.raises(ValueError, match="whole nanoseconds"):
        ring(2, rate=rate)
