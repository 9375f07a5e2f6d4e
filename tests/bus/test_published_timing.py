"""Published and worked figures of PLCA segments.

Sources:
  show   INET Framework showcase "Bounded Channel Access on 10BASE-T1S"
  worst  INET Framework examples/ethernet/TenBaseT1S/worstcase.ini
  best   INET Framework examples/ethernet/TenBaseT1S/bestcase.ini
  ml     IEEE 802.3cg task force mail list, message 678 (round figures)
  phy    a PHY vendor's application note (round figures)
  2544   RFC 2544 appendix B
Rows marked w1 to w7 are worked out by hand from show's formulas.
Convention: with the ESD octet, unless a test says otherwise.
"""

import pytest
from bus.segments import ring

from hil.bus.budget import (
    budget,
    cycle_bt,
    empty_cycle_bt,
    full_cycle_bt,
    propagation_ns,
    turn_bt,
)
from hil.bus.contention import Contention
from hil.bus.saturation import saturate
from hil.bus.segment import Cable, frame_octets, frames_of, wire_bt
from hil.bus.turns import Turns
from hil.core.instant import SECOND, Instant


@pytest.mark.parametrize(
    ("nodes", "bits"),
    [(9, 308), (8, 276), (255, 8180)],  # show 30.8 µs; w1 27.6 µs; w6 818.0 µs
)
def test_empty_cycle(nodes, bits):
    assert empty_cycle_bt(nodes) == bits
    assert budget(ring(nodes)).empty == bits


def test_unused_turn_and_beacon():
    assert turn_bt([]) == 32  # show: 3.2 µs
    assert cycle_bt([]) == 20  # show: 2.0 µs


@pytest.mark.parametrize(("octets", "wire", "used"), [(64, 584, 680), (1518, 12216, 12312)])
def test_used_turn(octets, wire, used):  # show: 58.4 and 68.0 µs; 12312 bt
    assert wire_bt(octets) == wire
    assert turn_bt([octets]) == used


def test_turn_without_esd():  # classic Ethernet: 57.6 µs on the wire, 67.2 µs with the gap
    assert wire_bt(64, esd=0) == 576
    assert turn_bt([64], esd=0) == 672


@pytest.mark.parametrize(
    ("nodes", "octets", "bits"),
    [
        (9, 64, 6140),  # show: bound(8) = 614 µs
        (17, 64, 11580),  # show: bound(16) = 1.158 ms
        (41, 64, 27900),  # show: bound(40) = 2.79 ms
        (9, 1518, 110828),  # show: 11.1 ms
        (8, 1518, 98516),  # w2: 9851.6 µs
    ],
)
def test_full_cycle_bounds_access(nodes, octets, bits):
    assert full_cycle_bt(nodes, octets) == bits
    if octets == 1518:
        assert budget(ring(nodes)).access == {f"n{number}": bits for number in range(nodes)}
        assert budget(ring(nodes)).utmost == bits


@pytest.mark.parametrize(
    ("turns", "bits"),
    [
        ([[64], [64], [1518], [], [], [], [], []], 13852),  # w3: 1385.2 µs
        ([[64], [], [], [], [], [], [], []], 924),  # w4: 92.4 µs
        ([[64, 64, 64], [], [], [], [], [], [], []], 2284),  # w5, burst count 2: 228.4 µs
    ],
)
def test_mixed_cycle(turns, bits):
    assert cycle_bt(turn_bt(frames) for frames in turns) == bits


def test_mixed_cycle_on_the_line():
    """w3 and w5, sent: frames that had to wait pay one gap each, and no timer."""
    segment = ring(8, burst_count=2)
    line = Turns(segment, Instant(0))
    for who, octets in ((0, 64), (7, 64), (7, 64), (7, 64), (0, 64), (7, 64)):
        line.offer(who, 0, wire_bt(octets) * 100, octets)
    line.advance(SECOND)

    ends = [end for end, who, _, _ in line.ended if who == 7]
    assert len(line.ended) == 6
    assert (ends[2] - ends[1], ends[1] - ends[0]) == (68_000, 68_000)


def test_frame_of_udp_payload():  # w7, and RFC 768 / RFC 791 header sizes
    payloads = [1, 18, 19, 32, 100, 512, 1472]

    assert [frame_octets(each) for each in payloads] == [64, 64, 65, 78, 146, 558, 1518]
    assert [wire_bt(frame_octets(each)) for each in payloads] == [
        584,
        584,
        592,
        696,
        1240,
        4536,
        12216,
    ]


def test_frames_of_fragmented_payload():
    """RFC 791: 1480 octets of packet to a fragment; 8 + 1473 of them leave one octet over."""
    assert frames_of(1472) == (1518,)
    assert frames_of(1473) == (1518, 64)
    assert frames_of(1452, 6) == (1518,)
    assert sum(size - 18 - 20 for size in frames_of(65_507)) == 65_515


def test_worst_case_example_by_hand():  # worst: 231.6 µs, measured 231.654999 µs
    held = turn_bt([64], gap=0, hold=128)
    total = turn_bt([]) + 3 * held + 20 + turn_bt([]) + 96

    assert total == 2316
    assert abs(total / 10 / 231.654999 - 1) < 0.001


def test_worst_case_example_on_the_line():
    """worst: node 1 is 1 ns late, the others are handed a frame as their turns open."""
    line = Turns(ring(5, burst_count=1), Instant(0))
    for who, at in ((1, 5_201), (2, 8_400), (3, 79_600), (4, 150_800)):
        line.advance(at - 1)
        line.offer(who, at, 58_400, None)
    line.advance(SECOND)

    assert [waits.longest for waits in line.waits] == [0, 231_599, 0, 0, 0]


def test_best_case_example_on_the_line():
    """best: every frame comes as its turn opens and starts at once; a cycle lasts 290.06 µs."""
    line = Turns(ring(5, burst_count=1), Instant(0))
    for cycle in range(4):
        for who, at in ((1, 5_200), (2, 76_400), (3, 147_600), (4, 218_800)):
            line.advance(at + cycle * 290_000 - 1)
            line.offer(who, at + cycle * 290_000, 58_400, None)
    line.advance(SECOND)

    assert [waits.longest for waits in line.waits] == [0] * 5
    assert line.ended[0][0] - 58_400 == 5_200
    assert line.ended[4][0] - line.ended[0][0] == pytest.approx(290_060, rel=0.001)


def test_first_turn_with_cable_delay():
    """best: 5.2075 µs; the 7.5 ns are 1.5 m of cable at INET's 2·10⁸ m/s."""
    segment = ring(5, cable=Cable(length_mm=1500))
    opens = segment.lasting(cycle_bt([turn_bt([])])) + propagation_ns(segment)

    assert opens == pytest.approx(5207.5, rel=0.001)


def test_cycle_anatomy_on_the_line():
    """show: 8 nodes get a frame at 100 µs.  The second starts at 100.8 µs on the quiet line, the
    eighth at 508.9 µs; the first missed its turn and has its next at 572.5 µs, plus the gap."""
    line = Turns(ring(9), Instant(0))
    line.advance(99_999)
    for who in range(1, 9):
        line.offer(who, 100_000, 58_400, None)
    line.advance(SECOND)

    begins = {who: end - wire for end, who, wire, _ in line.ended}
    assert [who for _, who, _, _ in line.ended] == [2, 3, 4, 5, 6, 7, 8, 1]
    assert begins[2] == pytest.approx(100_800, rel=0.001)
    assert begins[8] == pytest.approx(508_900, rel=0.001)
    assert begins[1] - 9_600 == pytest.approx(572_500, rel=0.001)


def test_saturated_goodput_and_access():  # show: 9.744 Mb/s with 9 stations at 1500 octets
    saturated = saturate(ring(9), 1518, 20_000)

    assert saturated.goodput(1500) == pytest.approx(9.744, rel=0.001)
    assert set(saturated.longest.values()) == {11_082_800}
    assert max(saturated.frames.values()) - min(saturated.frames.values()) <= 1


def test_saturated_share_in_two_seconds():  # show: 180 or 181 frames from each station in 2 s
    line = Turns(ring(9), Instant(0))
    for who in range(9):
        for _ in range(200):
            line.offer(who, 0, wire_bt(1518) * 100, None)
    line.advance(2 * SECOND)
    sent = [who for end, who, _, _ in line.ended if end <= 2 * SECOND]

    assert {sent.count(who) for who in range(9)} == {180, 181}


def test_round_figures():  # ml: 1.25 ms and 56 µs, phy: 1.2 ms for 1500 octets, within 5 %
    assert wire_bt(1518) / 10_000 == pytest.approx(1.25, rel=0.05)
    assert wire_bt(64) / 10 == pytest.approx(56, rel=0.05)
    assert wire_bt(1500) / 10_000 == pytest.approx(1.2, rel=0.05)


@pytest.mark.parametrize(
    ("octets", "rate"),
    [
        (64, 14880),
        (128, 8445),
        (256, 4528),
        (512, 2349),
        (768, 1586),
        (1024, 1197),
        (1280, 961),
        (1518, 812),
    ],
)
def test_frame_rates_without_plca(octets, rate):  # 2544, no ESD
    saturated = saturate(ring(1, plca=False, esd=0), octets, 3_000)
    sent = sum(saturated.frames.values())

    assert sent * SECOND // (saturated.elapsed + 9_600) == rate


def test_saturated_goodput_without_plca():  # show: 9.56 to 9.59 Mb/s over its seeds
    results = [saturate(ring(9, plca=False), 1518, 10_000, seed) for seed in range(3)]

    for each in results:
        assert each.goodput(1500) == pytest.approx(9.575, rel=0.005)
        assert each.collisions > 0
        assert each.given_up > 0  # show: about 80 in 2 s


def test_contention_collides_again_one_gap_and_slots_later():
    """show: 8 nodes at 100 µs all collide; three of eight frames arrive within 540 µs there."""
    line = Contention(ring(9, plca=False), Instant(0), seed=1)
    for who in range(1, 9):
        line.offer(who, 100_000, 58_400, None)
    line.advance(100_000)

    assert line.collisions == [0] + [1] * 8
    line.advance(SECOND)
    assert sorted(who for _, who, _, _ in line.ended) == list(range(1, 9))
    gaps = [after[0] - before[0] for before, after in zip(line.ended, line.ended[1:], strict=False)]
    assert min(gaps) >= 68_000
