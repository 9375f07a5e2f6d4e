"""EWMA, CUSUM, capability and the usual spread against published examples and other libraries."""

import math
import statistics

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.measure.baseline import Baseline, baseline, is_above, modified_z
from hil.measure.capability import capability
from hil.measure.cusum import cusum_chart
from hil.measure.ewma import ewma_chart


def numbers(text):
    return [float(word) for word in text.split()]


# NIST/SEMATECH e-Handbook 6.3.2.4, EWMA example: target 50, s 2.0539, lambda 0.3, k 3.
EWMA_DATA = numbers(
    "52 47 53 49.3 50.1 47 51 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
)
EWMA_PUBLISHED = numbers(
    "50.6 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 "
    "50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 51.94 51.99"
)


def test_ewma_is_that_of_the_handbook():
    chart = ewma_chart(EWMA_DATA, target=50, sigma=2.0539, weight=0.3, early=False)

    assert chart.averages == pytest.approx(EWMA_PUBLISHED, abs=0.00501)  # printed to 2 decimals
    assert (chart.upper[0], chart.lower[0]) == pytest.approx((52.5884, 47.4115), abs=0.001)
    assert chart.outside == ()


def test_the_early_limits_grow_to_the_late_ones():
    early = ewma_chart(EWMA_DATA, target=50, sigma=2.0539, weight=0.3)
    late = ewma_chart(EWMA_DATA, target=50, sigma=2.0539, weight=0.3, early=False)

    assert early.upper[0] - 50 == pytest.approx(3 * 2.0539 * 0.3)  # one value alone: k·σ·λ
    assert list(early.upper) == sorted(early.upper)
    assert early.upper[-1] == pytest.approx(late.upper[-1], abs=1e-5)


def test_ewma_is_an_exponential_average_as_another_library_has_it():
    """statsmodels' simple exponential smoothing with the same weight, begun at the target."""
    from statsmodels.tsa.api import SimpleExpSmoothing

    model = SimpleExpSmoothing(
        [50.0, *EWMA_DATA], initialization_method="known", initial_level=50.0
    ).fit(smoothing_level=0.3, optimized=False)

    chart = ewma_chart(EWMA_DATA, target=50, sigma=1, weight=0.3)

    assert list(model.level)[1:] == pytest.approx(chart.averages)


# NIST/SEMATECH e-Handbook 6.3.2.3, CUSUM example: target 325, s 0.635.  The data to two decimals
# are published; the third decimal, k = 0.3175 and h = 4.1959 are from memory.
CUSUM_DATA = numbers(
    "324.925 324.675 324.725 324.35 325.35 325.225 324.125 324.525 325.225 324.6 "
    "324.625 325.15 328.325 327.25 327.825 328.5 326.675 327.775 326.875 328.35"
)
CUSUM_HIGH = numbers(
    "0 0 0 0 0.0325 0 0 0 0 0 0 0 3.0075 4.94 7.4475 10.63 11.9875 14.445 16.0025 19.035"
)
CUSUM_LOW = [0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.715, 0.1725, 0.255, 0.3125, *[0] * 9]


def test_cusum_is_that_of_the_handbook():
    chart = cusum_chart(CUSUM_DATA, target=325, slack=0.3175, limit=4.1959)

    assert chart.high == pytest.approx(CUSUM_HIGH, abs=1e-9)
    assert chart.low == pytest.approx(CUSUM_LOW, abs=1e-9)
    assert chart.risen[0] == 13  # group 14, counted from 1
    assert chart.fallen == ()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-100, 100), max_size=40), st.floats(0, 2))
def test_both_sums_of_a_mirrored_series_change_places(values, slack):
    chart = cusum_chart(values, target=1.5, slack=slack, limit=3)
    mirrored = cusum_chart([3 - value for value in values], target=1.5, slack=slack, limit=3)

    assert chart.high == pytest.approx(mirrored.low, abs=1e-6)
    assert chart.low == pytest.approx(mirrored.high, abs=1e-6)


def test_what_makes_no_sense_is_refused():
    for refused in (
        lambda: ewma_chart([1.0], target=0, sigma=1, weight=0),
        lambda: ewma_chart([1.0], target=0, sigma=-1),
        lambda: cusum_chart([1.0], target=0, slack=-1, limit=1),
        lambda: capability(mean=0, sigma=0, low=0, high=1),
        lambda: baseline([1.0]),
        lambda: modified_z(1.0, []),
    ):
        with pytest.raises(ValueError):
            refused()


# NIST/SEMATECH e-Handbook 6.1.6: USL 20, LSL 8, mean 16, s 2.
def test_capability_is_that_of_the_handbook():
    found = capability(mean=16, sigma=2, low=8, high=20)

    assert (found.cp, found.cpk, found.k) == pytest.approx((1.0, 0.6667, 0.3333), abs=5e-5)
    assert found.cpk == pytest.approx(found.cp * (1 - found.k))


# Parts per million outside the limits of a centred normal process (computed, not published).
@pytest.mark.parametrize(("cp", "ppm"), [(1, 2699.8), (1.33, 66.07), (1.67, 0.544), (2, 0.00197)])
def test_the_share_outside_is_that_of_the_normal_distribution(cp, ppm):
    from scipy.stats import norm

    found = capability(mean=0, sigma=1, low=-3 * cp, high=3 * cp)

    assert found.outside == pytest.approx(2 * norm.sf(3 * cp), rel=1e-6)
    assert found.outside * 1e6 == pytest.approx(ppm, rel=3e-3)


def test_the_usual_spread_comes_from_neighbours():
    # NIST/SEMATECH e-Handbook 6.3.2.2, individuals chart: flow rate of ten batches, mean 50.81,
    # mean moving range 1.8778, limits 50.81 ± 3 * 1.8778 / 1.128 (from memory).
    flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    usual = baseline(flow)

    assert usual.level == pytest.approx(50.81)
    assert usual.sigma * 1.128 == pytest.approx(1.8778, abs=5e-5)
    assert usual.level + 3 * usual.sigma == pytest.approx(55.8041, abs=5e-4)


def test_a_shift_does_not_widen_the_usual_spread():
    steady = [1.0, 1.1] * 10
    shifted = steady + [value + 5 for value in steady]

    assert baseline(shifted).sigma < 2.5 * baseline(steady).sigma
    assert statistics.stdev(shifted) > 40 * baseline(steady).sigma / 2


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-1e3, 1e3), min_size=3, max_size=30), st.floats(-2e3, 2e3))
def test_the_robust_distance_is_that_of_another_library(others, value):
    from statsmodels.robust.scale import mad

    spread = mad(others, c=0.6745)
    found = modified_z(value, others)

    if spread > 1e-9:
        assert found == pytest.approx((value - statistics.median(others)) / spread, rel=1e-6)


def test_beyond_the_spread_means_above_all_and_far():
    usual = [100.0, 101.0, 99.0, 100.5, 99.5, 100.2]

    assert not is_above(101.0, usual)
    assert not is_above(101.5, usual)
    assert is_above(130.0, usual)
    assert is_above(2.0, [1.0, 1.0, 1.0])  # a response that never varied
    assert modified_z(1.0, [1.0, 1.0]) == 0
    assert modified_z(0.0, [1.0, 1.0]) == -math.inf
    assert Baseline(level=1, sigma=0) == baseline([1.0, 1.0, 1.0])


def test_a_sum_at_the_limit_is_not_beyond_it():
    # "out of control when S exceeds H", NIST/SEMATECH e-Handbook 6.3.2.3
    chart = cusum_chart([5.0, 0.5, -20.0, -0.5], target=0, slack=0, limit=5)

    assert (chart.high[0], chart.risen) == (5.0, (1,))
    assert cusum_chart([-5.0, -0.5], target=0, slack=0, limit=5).fallen == (1,)


def test_without_any_spread_every_change_is_outside():
    assert ewma_chart([50.0, 50.0, 50.1], target=50, sigma=0.0).outside == (2,)


def test_limits_that_are_one_leave_no_room():
    with pytest.raises(ValueError, match="low < high"):
        capability(mean=1, sigma=1, low=2, high=2)
