"""What goes on between two samples: ceilings by hand, and second-order responses with known truth.

Overshoot of a second-order step response: exp(-πζ/√(1 - ζ²)), at π/ωd (Ogata, Modern Control
Engineering, from memory).
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from measure.responses import SECOND, second_order

from hil.measure.ceiling import ceiling
from hil.measure.excursion import overshoot, undershoot
from hil.measure.step_response import from_step, ieee_181

DAMPING = [0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8]


def every_second(*heights):
    return np.arange(len(heights)) * SECOND, np.array(heights, dtype=float)


# Each worked out by hand from the two rules in hil.measure.ceiling.
@pytest.mark.parametrize(
    ("heights", "noise", "look", "highest"),
    [
        ((0, 0.6, 0.9, 0.9, 0.6, 0), 0, 0, 1.05),  # lines of 0.3 per s meet in the middle
        ((-0.4, 0.2, 0.6, 0.9, 0.8, 0.6, 0), 0, 0, 0.96),  # 0.9 + 0.3 s = 0.8 + 0.2 (1 - s)
        ((0, 0.2, 1, 1, 0.2, 0), 0, 0, 1.4),  # both slopes were rising: 1 + 0.8 × 1 / 2
        ((0, 0, 1, 1, 1, 1), 0, 0, 1.0),  # flat behind the jump: nothing to hide
        ((0, 1, 1), 0, 0, 1.5),  # no slope is known to fall: 1 + 1 × 1 / 2
        ((0, 0, 0, 0), 0, 0, 0.0),
        ((0, 0, 0, 0, 0, 0), 0.1, 0, 0.2),  # 0.1 + 0.2 / 2 s meets its mirror at 0.5
        ((0, 0.6, 0.9, 0.9, 0.6, 0), 0, SECOND // 10, 0.9 + 0.3 / 0.9 * 0.55),
        ((0, 1, 0), 0, SECOND // 2, math.inf),  # looks as long as that tell no slope
        ((0.3,), 0.1, 0, 0.4),
    ],
)
def test_a_ceiling_by_hand(heights, noise, look, highest):
    times, values = every_second(*heights)

    assert highest == pytest.approx(ceiling(times, values, noise, look))


def test_a_ceiling_takes_the_shorter_way_where_a_close_pair_tells_little():
    # 1 ms apart with a noise of 0.1 the chord may be as steep as 200 per s; over both gaps it is 0.2
    times = np.array([0, 1_000, 2_000, 2_001, 3_000, 4_000]) * (SECOND // 1000)
    heights = np.zeros(6)

    assert ceiling(times, heights, 0.1) == pytest.approx(0.3)


@given(
    st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=30),
    st.lists(st.integers(0, 10**9), min_size=30, max_size=30),
    st.floats(0, 10),
    st.integers(0, 10**8),
)
@settings(max_examples=200, deadline=None)
def test_no_ceiling_is_below_what_was_seen(heights, gaps, noise, look):
    times = np.cumsum(np.array(gaps[: len(heights)], dtype=np.int64))

    assert ceiling(times, np.array(heights), noise, look) >= max(heights) + noise


def sampled(damping, per_swing, seed, noise=0.0, look=0.0, uneven=0.0):
    """Return a response sampled so often per swing; noise and look are worst where they hurt."""
    chance = np.random.default_rng(seed)
    spacing = 2 * np.pi / np.sqrt(1 - damping**2) / per_swing
    count = min(int(14 / damping / spacing), 500)
    moments = (
        np.arange(-3, count) + chance.uniform() + uneven * chance.uniform(-0.5, 0.5, count + 3)
    )
    times = np.sort(moments) * spacing
    shown = times - look * spacing * chance.uniform(0, 1, times.size)
    heights = second_order(shown, damping, 1) + noise * chance.uniform(-1, 1, times.size)
    return (times * SECOND).astype(np.int64), heights, round(look * spacing * SECOND)


@pytest.mark.parametrize("damping", DAMPING)
@pytest.mark.parametrize("per_swing", [6, 8, 12, 24])
@pytest.mark.parametrize(
    ("noise", "look", "uneven"),
    [(0, 0, 0), (0, 0, 0.9), (0, 0.1, 0.3), (0.005, 0, 0), (0.005, 0.1, 0.9)],
    ids=["regular", "irregular", "polled", "noisy", "all of it"],
)
def test_the_true_overshoot_lies_in_the_interval(damping, per_swing, noise, look, uneven):
    truth = 100 * math.exp(-math.pi * damping / math.sqrt(1 - damping**2))
    for seed in range(5):
        times, heights, late = sampled(damping, per_swing, seed, noise, look, uneven)
        found = from_step(times, heights, step=0, initial=0.0, final=1.0, noise=noise)

        between = overshoot(found, look=late)

        assert between.low <= truth <= between.high
        assert between.low <= between.likely <= between.high


@pytest.mark.parametrize("damping", DAMPING)
def test_the_interval_narrows_with_the_sampling(damping):
    widths = []
    for per_swing in (8, 24, 72):
        ranges = []
        for seed in range(8):
            times, heights, _ = sampled(damping, per_swing, seed)
            found = from_step(times, heights, step=0, initial=0.0, final=1.0)
            ranges.append(overshoot(found))
        widths.append(np.mean([one.high - one.low for one in ranges]))

    assert widths[0] > 2 * widths[1] > 6 * widths[2]
    assert widths[2] < 2.5  # % of the step


def test_coarse_samples_miss_the_peak_and_the_interval_does_not():
    # eight samples per swing, a peak in the middle of a gap: 37 % (ζ 0.3) shows as about 34 %
    damping = 0.3
    damped = math.sqrt(1 - damping**2)
    spacing = 2 * math.pi / damped / 8
    times = np.arange(-2, 60) * spacing + spacing / 2
    heights = second_order(times, damping, 1)
    found = from_step((times * SECOND).astype(np.int64), heights, step=0, final=1.0)
    truth = 100 * math.exp(-math.pi * damping / damped)

    between = overshoot(found)

    assert between.likely < truth - 2.5
    assert between.low <= truth <= between.high


def test_a_record_without_gaps_hides_nothing():
    times, heights, _ = sampled(0.3, 8, 1)
    found = from_step(times, heights, step=0, initial=0.0, final=1.0, noise=0.01)

    between = overshoot(found, held=True)

    assert (between.low, between.high) == pytest.approx((found.overshoot - 1, found.overshoot + 1))


def backward_first(t):
    """Return the unit step response of (1 - s) / (s + 1)², which is 1 - e⁻ᵗ(1 + 2t)."""
    late = np.maximum(t, 0)
    return 1 - np.exp(-late) * (1 + 2 * late)


@pytest.mark.parametrize("spacing", [0.1, 0.2, 0.4])
@pytest.mark.parametrize("shift", [0.1, 0.5, 0.9])
def test_a_dip_the_wrong_way_lies_in_the_interval(spacing, shift):
    # the derivative e⁻ᵗ(2t - 1) is 0 at t = 1/2: the dip is 1 - 2 e^(-1/2) = -0.2131, by calculus
    truth = 100 * (2 * math.exp(-0.5) - 1)
    times = (np.arange(-3, 200) + shift) * spacing
    found = from_step(
        (times * SECOND).astype(np.int64), backward_first(times), step=0, initial=0.0, final=1.0
    )

    between = undershoot(found)

    assert between.low <= truth <= between.high
    assert between.likely == pytest.approx(-100 * backward_first(times).min())


@pytest.mark.parametrize("per_swing", [8, 16, 40])
def test_the_undershoot_of_ieee_181_lies_in_the_interval(per_swing):
    # the first trough behind the peak lies exp(-2πζ/√(1 - ζ²)) below the final level
    damping = 0.3
    truth = 100 * math.exp(-2 * math.pi * damping / math.sqrt(1 - damping**2))
    for seed in range(8):
        times, heights, _ = sampled(damping, per_swing, seed)
        found = ieee_181(times, heights, levels=(0.0, 1.0), step=0)

        between = undershoot(found)

        assert between.low <= truth <= between.high


def test_a_fast_rise_without_a_swing_has_no_undershoot():
    times, heights = every_second(0, 0, 0, 0.5, 1, 1, 1, 1, 1)
    found = ieee_181(times, heights, levels=(0.0, 1.0), step=2 * SECOND)
    seen = from_step(times, heights, step=2 * SECOND, final=1.0)

    assert undershoot(found).high == 0
    assert undershoot(seen).high == 0
    assert overshoot(seen).high == 0


def test_before_the_step_nothing_moved():
    # t² from 0 on; the last sample before the step is 0.9 s old, the first behind it 0.1 s young:
    # backwards from 0.01 at 0.3 per s it is 0.02 the wrong way, 0.1 s earlier
    times = np.array([-0.9, 0.1, 0.2, 0.3, *np.arange(0.4, 3, 0.1)])
    heights = np.minimum(np.where(times > 0, times**2, 0), 1)
    found = from_step((times * SECOND).round().astype(np.int64), heights, step=0, final=1.0)

    assert undershoot(found).high == pytest.approx(2, abs=1e-6)
