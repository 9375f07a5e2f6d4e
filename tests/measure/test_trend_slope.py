"""The robust slope: against scipy, against a hand's arithmetic, and when a limit is reached."""

import math
import warnings

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hil.measure.trend_slope import reach, theil_sen


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 12), st.integers(-30, 30)), min_size=3, max_size=25))
def test_slope_and_bounds_are_those_of_scipy(points):
    from scipy.stats import theilslopes

    xs, ys = zip(*points, strict=True)
    assume(len(set(xs)) > 1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = theilslopes(ys, xs, 0.95)
    assume(not math.isnan(other.low_slope))  # nothing but ties: scipy gives no bounds
    ours = theil_sen(xs, ys)

    assert ours.slope == pytest.approx(other.slope)
    assert (ours.low, ours.high) == pytest.approx((other.low_slope, other.high_slope))
    assert ours.at(0) == pytest.approx(other.intercept)


def test_a_wild_night_does_not_turn_the_slope():
    days = list(range(20))
    margins = [0.9 - 0.02 * day for day in days]
    margins[3], margins[11] = -5.0, 7.0

    assert theil_sen(days, margins).slope == pytest.approx(-0.02)


def test_the_limit_is_reached_where_the_line_meets_it():
    days = list(range(11))
    slope = theil_sen(days, [0.5 - 0.02 * day for day in days])
    found = reach(slope, 10, 0.0)

    assert found is not None
    assert (found.likely, found.soonest, found.latest) == pytest.approx((15, 15, 15))


def test_the_bounds_of_the_slope_bound_the_nights():
    days = list(range(12))
    noise = [0.03, -0.02, 0.01, -0.03, 0.02, 0.0, -0.01, 0.03, -0.03, 0.02, -0.02, 0.01]
    slope = theil_sen(days, [0.6 - 0.03 * day + off for day, off in zip(days, noise, strict=True)])
    found = reach(slope, 11, 0.0)

    assert found is not None
    assert 0 < found.soonest < found.likely < found.latest
    assert found.soonest == pytest.approx(slope.middle_x - slope.middle_y / slope.low - 11)


@pytest.mark.parametrize(
    ("ys", "limit"),
    [
        ([0.5, 0.6, 0.55, 0.62, 0.7, 0.72], 0.0),  # rises away from it
        ([0.5, 0.5, 0.5, 0.5, 0.5, 0.5], 0.0),  # rests
        ([0.5, 0.1, 0.6, 0.2, 0.5, 0.3], 0.0),  # nobody knows
    ],
)
def test_a_series_that_does_not_go_there_never_gets_there(ys, limit):
    assert reach(theil_sen(range(len(ys)), ys), len(ys) - 1, limit) is None


def test_a_line_that_is_beyond_already_has_no_nights_left():
    days = list(range(10))
    slope = theil_sen(days, [0.4 - 0.06 * day for day in days])
    found = reach(slope, 9, 0.0)

    assert found is not None
    assert found.likely == 0.0


def test_one_place_has_no_slope():
    with pytest.raises(ValueError):
        theil_sen([1, 1, 1], [1.0, 2.0, 3.0])
