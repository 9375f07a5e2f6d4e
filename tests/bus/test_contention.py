"""The line that is fought for."""

import pytest
from bus.segments import ring

from hil.bus.contention import Contention
from hil.bus.segment import Cable
from hil.core.instant import SECOND, Instant

WIRE = 58_400


def contend(segment, starts, seed=1):
    line = Contention(segment, Instant(0), seed)
    for who, at in enumerate(starts):
        line.advance(at - 1)
        line.offer(who, at, WIRE, who)
    line.advance(1_000 * SECOND)
    return line


@pytest.mark.parametrize(("apart", "collisions"), [(0, 1), (125, 1), (126, 0)])
def test_two_collide_within_one_propagation_time(apart, collisions):
    """25 m of cable take 125 ns at 5 ns/m; later the second hears the first and defers."""
    line = contend(ring(2, plca=False, cable=Cable(length_mm=25_000)), [100, 100 + apart])

    assert min(line.collisions) >= collisions
    assert (sum(line.collisions) > 0) is (collisions > 0)


def test_who_defers_waits_one_gap():
    line = contend(ring(2, plca=False), [0, 1])

    assert [(end, who) for end, who, _, _ in line.ended] == [
        (WIRE, 0),
        (WIRE + 9_600 + WIRE, 1),
    ]


def test_sixteen_attempts_and_no_more():
    """Attempt limit 16 (INET showcase tenbaset1s; IEEE 802.3 table 4-2, from memory).

    One frame of n0 against eight nodes that always have another, a long one.
    """
    collisions = {True: set(), False: set()}
    for seed in range(100):
        line = Contention(ring(9, plca=False), Instant(0), seed)
        line.offer(0, 0, WIRE, None)
        for who in range(1, 9):
            for _ in range(200):
                line.offer(who, 0, 21 * WIRE, None)
        while line.queues[0]:
            line.advance(line.next_event())
        given_up = any(who == 0 for _, who, _, _ in line.given_up)
        collisions[given_up].add(line.collisions[0])

    assert collisions[True] == {16}
    assert max(collisions[False]) < 16


def test_frames_never_overlap():
    line = contend(ring(40, plca=False), [0] * 40)
    quiet = 0

    for end, _, wire, _ in line.ended:
        assert end - wire >= quiet
        quiet = end
