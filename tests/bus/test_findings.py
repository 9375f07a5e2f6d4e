"""Findings about segments that are described wrongly.

The situations are those of a PHY vendor's PLCA diagnostics pages: two nodes with one number, two
coordinators, fewer turns than nodes.
"""

import pytest
from bus.segments import ring, sizes

from hil.bus.findings import Severity
from hil.bus.segment import Cable, Participant, Segment, Traffic
from hil.bus.wiring import find
from hil.core.instant import MILLISECOND

ENDS = ("n0", "n1")


def numbered(*ids, **settings):
    participants = tuple(
        Participant(name=f"n{place}", plca_id=plca_id) for place, plca_id in enumerate(ids)
    )
    return Segment(participants=participants, **settings)


def timed(**odd):
    even = Participant(name="n0", plca_id=0)
    other = Participant(name="n1", plca_id=1)
    return Segment(participants=(even, other, Participant(name="n2", plca_id=2, **odd)))


def wired(metres=10, ends=ENDS, terminated=ENDS, stubs=None, **settings):
    pair = Cable(
        length_mm=int(metres * 1000), ends=ends, terminated=terminated, stubs_mm=stubs or {}
    )
    return ring(2, cable=pair, **settings)


def codes(segment):
    return [finding.code for finding in find(segment)]


@pytest.mark.parametrize(
    ("segment", "wanted"),
    [
        (numbered(0, 1, 2), []),
        (numbered(0, 3, 5, 3), ["id-repeated"]),
        (numbered(0, 1, 0), ["two-coordinators"]),
        (numbered(1, 2), ["no-coordinator"]),
        (numbered(0, None), ["id-missing"]),
        (numbered(0, 255), ["id-255"]),
        (numbered(0, 300), ["id-range"]),
        (numbered(0, -1), ["id-range"]),
        (numbered(0, 1, 2, 3, 4, 5, node_count=4), ["count-too-small"]),
        (numbered(0, 1, 2, 3, 4, 5, node_count=8), []),
        (numbered(0, 1, 2, 3, 4, 5, 6, node_count=6), ["count-too-small"]),
        (numbered(0, 1, 2, node_count=0), ["count-range"]),
        (numbered(0, 1, 2, node_count=256), ["count-range"]),
        (numbered(0, 1, 2, node_count=255), ["count-too-large"]),
        (timed(to_timer=24), ["timers-differ"]),
        (timed(to_timer=0), ["timer-range", "timers-differ"]),
        (timed(burst_timer=300), ["timer-range"]),
        (timed(burst_count=1, burst_timer=96), ["burst-timer-short"]),
        (timed(burst_count=1, burst_timer=128), []),
        (timed(burst_count=0, burst_timer=50), []),
        (ring(8), []),
        (ring(9), ["many-nodes"]),
        (ring(2, plca=False), ["no-plca"]),
        (wired(), []),
        (wired(25), []),
        (wired(26), ["long-reach"]),
        (wired(50), ["long-reach"]),
        (wired(51), ["timer-unproven", "long-reach"]),
        (wired(400, to_timer=40), ["timer-too-short", "long-reach"]),
        (wired(10, to_timer=24), ["timer-unproven"]),
        (wired(terminated=("n0",)), ["end-open"]),
        (wired(terminated=()), ["end-open"]),
        (wired(terminated=("n0", "n1", "n2")), ["termination-extra"]),
        (wired(ends=("n0", "n2")), ["end-open", "termination-extra"]),
        (wired(terminated=("n0", "n1", "n1")), ["termination-twice"]),
        (wired(ends=("n0",)), ["ends-unknown"]),
        (wired(ends=()), ["ends-unknown"]),
        (wired(stubs={"n0": 100}), []),
        (wired(stubs={"n0": 101}), ["long-stub"]),
    ],
)
def test_findings(segment, wanted):
    assert codes(segment) == wanted


@pytest.mark.parametrize(
    ("declared", "code"),
    [
        (Traffic(name="t", sender="n7", receiver="", payload=18, interval=MILLISECOND), "unknown"),
        (Traffic(name="t", sender="n0", receiver="n7", payload=9, interval=MILLISECOND), "unknown"),
        (Traffic(name="t", sender="n0", receiver="", payload=-1, interval=MILLISECOND), "size"),
        (
            Traffic(
                name="t", sender="n0", receiver="", payload=9, interval=MILLISECOND, answer=70_000
            ),
            "size",
        ),
    ],
)
def test_findings_of_declared_traffic(declared, code):
    assert codes(ring(2, traffic=(declared,))) == [f"traffic-{code}"]


def test_too_much_traffic_for_the_line_and_for_the_turns():
    def every_ms(payload, nodes, each):
        flows = tuple(
            Traffic(name="t", sender="n1", receiver="", payload=payload, interval=MILLISECOND)
            for _ in range(each)
        )
        return ring(2, node_count=nodes, traffic=flows)

    assert codes(every_ms(1472, 2, 1)) == ["overload"]
    assert codes(every_ms(18, 2, 1)) == []
    assert codes(every_ms(18, 255, 2)) == ["turns-overload", "count-too-large"]


def test_worst_comes_first_and_every_finding_helps():
    segment = wired(60, terminated=(), stubs={"n0": 300}, node_count=255, to_timer=24)
    found = find(segment)
    order = [list(Severity).index(each.severity) for each in found]

    assert order == sorted(order)
    assert all(each.sentence and each.remedy for each in found)


def test_the_sentence_names_who_is_left_out():
    found = find(numbered(0, 1, 5, 6, node_count=5))[0]

    assert found.sentence == "the node count is 5, so n2, n3 never get a turn"
    assert found.remedy == "set the coordinator's node count to 7 or more"
    assert found.who == ("n2", "n3")


@pytest.mark.parametrize(
    ("segment", "sentence", "remedy"),
    [
        (numbered(0, 1, 3, 3), "n2 and n3 have the same PLCA id 3", "an id of its own; 2 is free"),
        (numbered(0, 3, 3, 3), "n1, n2 and n3 have the same", "; 1 is free"),
        (
            numbered(0, 1, 0),
            "n0 and n2 both have PLCA id 0",
            "leave id 0 to one of them; 2 is free",
        ),
        (numbered(0, None), "n1 has no PLCA id", "under bus: participants: with an id of its own"),
        (numbered(0, 255), "n1 has PLCA id 255, which switches PLCA off", "; 1 is free; 255 is no"),
        (
            ring(3, burst_count=2, burst_timer=90),
            "all of them may send 2 more frames in a turn, but their burst timer of 90 bt",
            "set the burst timer to 128 bt",
        ),
        (ring(3, to_timer=300), "all of them have a transmit opportunity timer of 300", "1 to 255"),
        (ring(1, to_timer=300), "n0 has a transmit opportunity timer of 300 bt", "1 to 255"),
        (
            timed(burst_count=1, burst_timer=90),
            "n2 may send 1 more frame in a turn, but its burst timer of 90 bt",
            "or the burst count to 0",
        ),
        # 2 · 5 ns/m · 100 m are 10 bt, and 27 bt for the PHYs (32 bt less 50 m there and back)
        (wired(100), "of 32 bt on 100 m is less", "make the timer 37 bt on all nodes"),
        (wired(100, to_timer=8), "of 8 bt is over in 800 ns", "make the timer 37 bt on all nodes"),
        (wired(1000), "take 10000 ns there and back", "make the timer 127 bt on all nodes"),
        # 250 bt and 27 bt are more than the 255 bt that a timer can have
        (wired(2500), "take 25000 ns there and back", "shorten the cable"),
    ],
)
def test_a_finding_names_everybody_and_what_would_do(segment, sentence, remedy):
    found = find(segment)[0]

    assert sentence in found.sentence
    assert remedy in found.remedy


def test_a_full_segment_has_no_id_to_give_away():
    segment = numbered(*range(255), 7, node_count=255)

    assert find(segment)[0].remedy == "give each an id of its own; all of them are taken"


def test_255_nodes_are_told_apart_from_a_traceback():
    assert codes(ring(255)) == ["many-nodes"]
    assert codes(ring(256, node_count=255, traffic=sizes([18]))) == ["id-255", "many-nodes"]


def test_an_empty_segment_has_no_coordinator():
    assert codes(Segment(participants=())) == ["no-coordinator"]
