"""Step responses against published and exact values."""

import numpy as np
import pytest
from measure.responses import SECOND, first_order, holds, irregular, regular, second_order

from hil.measure.span import Unmeasured
from hil.measure.step_response import Variant, from_step, ieee_181

# Exact values by scipy root finding over the textbook second-order formulas; the peak time and
# overshoot of the first two rows are Ogata's (zeta 0.6, wn 5) and Nise's (100/(s² + 15 s + 100)).
SECOND_ORDER = [
    # zeta, wn, peak_s, overshoot, rise_10_90_s, rise_0_100_s, settle_2_s, settle_5_s
    (0.6, 5, 0.78540, 0.09478, 0.37081, 0.55357, 1.1886, 1.0458),
    (0.75, 10, 0.47496, 0.02838, 0.22875, 0.36570, 0.5743, 0.3125),
    (0.35, 6, 0.55895, 0.30919, 0.23149, 0.34310, 1.8304, 1.3132),
    (0.5, 1, 3.62760, 0.16303, 1.63757, 2.41840, 8.0764, 5.2891),
    (0.7, 1, 4.39911, 0.04599, 2.12620, 3.28533, 5.9788, 2.8998),
    (0.8, 1, 5.23599, 0.01516, 2.46749, 4.16349, 3.7558, 3.3854),
]

# wn × (10-90 % rise time) against damping: the table of control lecture notes
# (https://public-class-notes.pages.dev/Lessons/FEECONS---Lesson-10).
RISE_TABLE = [
    (0.1, 1.104),
    (0.2, 1.203),
    (0.3, 1.321),
    (0.4, 1.463),
    (0.5, 1.638),
    (0.6, 1.854),
    (0.7, 2.126),
    (0.8, 2.467),
    (0.9, 2.883),
]


def record(zeta, wn, times):
    return second_order(times / SECOND, zeta, wn)


def near(span, seconds, tolerance=2e-4):
    return abs(span.likely / SECOND - seconds) <= tolerance * max(1, seconds)


@pytest.mark.parametrize("row", SECOND_ORDER)
def test_from_step_gives_the_exact_values(row):
    zeta, wn, peak, overshoot, rise, full, settle_2, settle_5 = row
    times = regular(-1, 12 / (zeta * wn), 40_000)
    values = record(zeta, wn, times)

    found = from_step(times, values, step=0, final=1.0, band=0.02)
    wide = from_step(times, values, step=0, final=1.0, band=0.05)

    assert found.variant is Variant.CONTROL
    assert found.overshoot == pytest.approx(100 * overshoot, abs=1e-3)
    assert near(found.peak, peak, 1e-3) and holds(found.peak, peak)
    assert near(found.transition, rise) and holds(found.transition, rise)
    assert near(found.reach, full) and holds(found.reach, full)
    assert near(found.settling, settle_2)
    assert near(wide.settling, settle_5)


@pytest.mark.parametrize(("zeta", "wn_rise"), RISE_TABLE)
def test_ieee_181_gives_the_rise_table_without_being_told_the_levels(zeta, wn_rise):
    times = regular(-10, 30 / zeta, 60_000)

    found = ieee_181(times, record(zeta, 1, times), step=0)

    assert found.variant is Variant.IEEE_181
    assert wn_rise == pytest.approx(found.transition.likely / SECOND, abs=0.006)
    assert pytest.approx((found.initial, found.final), abs=0.005) == (0, 1)


@pytest.mark.parametrize(("zeta", "wn_rise"), RISE_TABLE)
def test_ieee_181_gives_the_rise_table_with_agreed_levels(zeta, wn_rise):
    times = regular(-10, 30 / zeta, 60_000)

    found = ieee_181(times, record(zeta, 1, times), levels=(0.0, 1.0))

    assert wn_rise == pytest.approx(found.transition.likely / SECOND, abs=0.001)


def test_ogata_and_nise_as_printed():
    # Ogata: zeta 0.6, wn 5: rise 0-100 0.55 s, peak 0.785 s, overshoot 9.5 %.
    # Nise: 100/(s² + 15 s + 100): peak 0.475 s, overshoot 2.838 %, rise 10-90 0.23 s.
    # Both from memory, and confirmed by their formulas.
    times = regular(0, 4, 40_000)
    ogata = from_step(times, record(0.6, 5, times), step=0, final=1.0)
    nise = from_step(times, record(0.75, 10, times), step=0, final=1.0)

    assert (round(ogata.reach.likely / 1e9, 2), round(ogata.peak.likely / 1e9, 3)) == (0.55, 0.785)
    assert round(ogata.overshoot, 1) == 9.5
    assert (
        round(nise.peak.likely / 1e9, 3),
        round(nise.transition.likely / 1e9, 2),
    ) == (0.475, 0.23)
    assert round(nise.overshoot, 3) == 2.838


# First order: 10-90 % in 2.1972 tau, 2 % in 3.9120 tau, 5 % in 2.9957 tau; computed.
@pytest.mark.parametrize("tau", [1.0, 0.5])
def test_first_order_lag(tau):
    times = regular(-1, 20 * tau, 50_000)
    values = first_order(times / SECOND, tau)

    found = from_step(times, values, step=0, final=1.0)
    wide = from_step(times, values, step=0, final=1.0, band=0.05)

    assert 2.197225 * tau == pytest.approx(found.transition.likely / SECOND, abs=1e-5)
    assert 3.912023 * tau == pytest.approx(found.settling.likely / SECOND, abs=1e-5)
    assert 2.995732 * tau == pytest.approx(wide.settling.likely / SECOND, abs=1e-5)
    assert found.overshoot == 0
    assert found.reach is None


def test_a_ramp_of_one_second_takes_eight_tenths():
    # Linear 0 to 1 in 1 s: transition 0.8 s, 50 % instant 0.5 s, no overshoot; by definition.
    times = regular(-1, 3, 4_001)
    values = np.clip(times / SECOND, 0, 1)

    found = ieee_181(times, values, levels=(0.0, 1.0), step=0)
    unaided = ieee_181(times, values)

    assert abs(found.transition.likely - 800_000_000) < 10
    assert abs(found.mesial.likely - 500_000_000) < 10
    assert found.overshoot == 0
    assert abs(unaided.transition.likely - 800_000_000) < 100_000
    assert found.slew_rate.likely == pytest.approx(1.0)


def test_settling_counts_from_the_middle_in_ieee_181_and_from_the_step_in_control():
    times = regular(-2, 20, 22_001)
    values = record(0.5, 1, times)

    ieee = ieee_181(times, values, levels=(0.0, 1.0), step=0)
    control = from_step(times, values, step=0, final=1.0)

    assert control.settling.likely - ieee.settling.likely == pytest.approx(ieee.delay.likely, abs=2)
    assert ieee.delay.likely == control.delay.likely


def test_undershoot_is_each_variants_own():
    times = regular(-5, 40, 45_001)
    values = record(0.3, 1, times)
    wrong_way = values - 0.1 * np.exp(-times / SECOND * 3) * (times > 0)

    ieee = ieee_181(times, values, levels=(0.0, 1.0))
    control = from_step(times, wrong_way, step=0, initial=0.0, final=1.0)

    # the second extreme of a second-order response is the square of the first: exp(-2 pi z / ...)
    assert ieee.undershoot == pytest.approx((ieee.overshoot / 100) ** 2 * 100, abs=0.01)
    assert control.undershoot == pytest.approx(-100 * wrong_way.min(), abs=1e-9)


def test_a_level_that_was_never_reached_has_no_undershoot():
    times = regular(-1, 3, 401)

    found = ieee_181(times, first_order(times / SECOND, 1.0), levels=(0.0, 1.0))

    assert (found.reach, found.overshoot, found.undershoot) == (None, 0.0, 0.0)


def test_a_falling_step_is_the_rising_one_upside_down():
    times = irregular(-3, 20, 5_000, seed=1)
    values = record(0.4, 1, times)

    up = ieee_181(times, values, levels=(0.0, 1.0), step=0)
    down = ieee_181(times, 7 - 2 * values, levels=(5.0, 7.0), step=0)

    assert (down.initial, down.final) == (7.0, 5.0)
    assert down.overshoot == pytest.approx(up.overshoot)
    assert down.settling.likely == pytest.approx(up.settling.likely, abs=2)


def test_every_time_is_held_by_its_span_however_coarse_the_samples():
    exact = from_step(
        regular(-1, 20, 400_001), record(0.5, 1, regular(-1, 20, 400_001)), step=0, final=1.0
    )
    for seed in range(40):
        times = irregular(-1, 20, 60, seed)
        found = from_step(times, record(0.5, 1, times), step=0, initial=0.0, final=1.0)

        assert holds(found.transition, exact.transition.likely / SECOND)
        assert holds(found.delay, exact.delay.likely / SECOND)
        assert found.transition.width <= 2 * int(np.diff(times).max())


def test_spans_hold_the_truth_under_bounded_noise():
    exact_rise, exact_delay, exact_settle = 1.63757, 1.29379, 8.0764
    for seed in range(40):
        times = irregular(-2, 30, 2_000, seed)
        chance = np.random.default_rng(seed)
        noisy = record(0.5, 1, times) + chance.uniform(-0.005, 0.005, times.size)
        found = from_step(times, noisy, step=0, initial=0.0, final=1.0, noise=0.005)

        assert holds(found.transition, exact_rise)
        assert holds(found.delay, exact_delay)
        assert holds(found.settling, exact_settle)


@pytest.mark.parametrize(
    ("height", "settles"), [(1.2, 1_500), (0.8, 1_500), (1.05, 857)], ids=["above", "below", "in"]
)
def test_settling_is_where_the_line_enters_the_band(height, settles):
    # from 0 (0 ns) to the height (1000 ns) and straight on to 1 (2000 ns); band 0.9 to 1.1
    found = from_step(
        [0, 1_000, 2_000, 3_000], [0.0, height, 1.0, 1.0], step=0, final=1.0, band=0.1
    )

    assert abs(found.settling.likely - settles) <= 1


def test_a_response_still_outside_the_band_has_not_settled():
    times = regular(0, 3, 301)
    values = record(0.2, 4, times)

    found = from_step(times, values, step=0, final=1.0)

    assert found.settling is None
    assert found.last_outside == pytest.approx(3e9, abs=0.1e9)


def test_noise_wider_than_the_band_leaves_settling_open():
    times = regular(-1, 10, 1_101)

    found = from_step(times, first_order(times / SECOND, 0.5), step=0, final=1.0, noise=0.05)

    assert found.settling is None
    assert found.last_outside < 2e9


@pytest.mark.parametrize(
    ("times", "values", "why"),
    [
        ([], [], "one level"),
        ([0], [1.0], "one level"),
        ([0, 1, 2], [3.0, 3.0, 3.0], "one level"),
        ([0, 10, 20, 30], [1.0, 1.0, 1.0, 1.0 + 1e-320], "one level"),
    ],
)
def test_a_record_without_a_step_is_unmeasured(times, values, why):
    found = ieee_181(times, values)

    assert isinstance(found, Unmeasured)
    assert why in found.why


@pytest.mark.parametrize(
    ("values", "settings", "why"),
    [
        ([0.0, 0.1, 0.2], {"final": 1.0}, "half-way"),
        ([0.3, 0.6, 1.0], {"initial": 0.0, "final": 1.0}, "after the response"),
        ([0.0, 1.0, 1.0], {"final": 1.0, "noise": 0.6}, "noise"),
        ([1.0, 1.0, 1.0], {"final": 1.0}, "noise"),
    ],
)
def test_a_step_that_cannot_be_measured_says_why(values, settings, why):
    found = from_step([0, 1, 2], values, step=0, **settings)

    assert isinstance(found, Unmeasured)
    assert why in found.why


@pytest.mark.parametrize(
    ("times", "values", "settings"),
    [
        ([0, 1], [1.0], {}),
        ([1, 0], [0.0, 1.0], {}),
        ([0.5, 1.5], [0.0, 1.0], {}),
        ([0, 1], [0.0, float("nan")], {}),
        ([0, 1], [0.0, float("inf")], {}),
        ([0, 1], [0.0, 1.0], {"band": 0.0}),
        ([0, 1], [0.0, 1.0], {"noise": -1.0}),
    ],
)
def test_a_record_that_makes_no_sense_is_refused(times, values, settings):
    with pytest.raises(ValueError):
        from_step(times, values, step=0, **settings)


def test_denser_sampling_of_one_state_does_not_move_the_levels():
    slow, dense = regular(-10, 20, 301), regular(0.5, 1.0, 20_000)
    times = np.sort(np.concatenate((slow, dense)))

    found = ieee_181(times, first_order(times / SECOND, 1.0))

    assert pytest.approx((found.initial, found.final), abs=0.01) == (0, 1)


def test_samples_at_one_instant_are_taken():
    found = ieee_181([0, 10, 20, 20, 30, 40], [0.0, 0.0, 0.0, 1.0, 1.0, 1.0])

    assert (found.mesial.first, found.mesial.likely, found.mesial.last) == (20, 20, 20)
    assert found.transition.last == 0
    assert found.slew_rate.likely == float("inf")


def test_a_sample_on_the_level_has_reached_it():
    times = regular(0, 4, 5)
    found = from_step(times, np.array([0, 0.5, 0.5, 1, 1]), step=0, final=1.0)
    noisy = from_step(times, np.array([0, 0.4375, 0.5625, 1, 1]), step=0, final=1.0, noise=0.0625)

    assert (found.delay.first, found.delay.last) == (0, SECOND)
    assert (noisy.delay.first, noisy.delay.last) == (0, 2 * SECOND)
