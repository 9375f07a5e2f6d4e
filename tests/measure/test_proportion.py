"""Proportions against published tables and statsmodels."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from hil.measure.proportion import (
    clopper_pearson,
    lower_bound,
    newcombe,
    rule_of_three,
    upper_bound,
    wilson,
    zero_failure_bound,
    zero_failure_trials,
)

# Newcombe 1998, Statistics in Medicine 17, 857-872, table I, methods 3 (Wilson) and 5 (exact): the
# first four.  4 of 20: NIST/SEMATECH e-Handbook 7.2.4.1 (exact; Wilson computed).  Last two
# computed with statsmodels.
TABLE = [
    (81, 263, 0.95, (0.2553, 0.3662), (0.2527, 0.3676)),
    (15, 148, 0.95, (0.0624, 0.1605), (0.0578, 0.1617)),
    (0, 20, 0.95, (0.0000, 0.1611), (0.0000, 0.1684)),
    (1, 29, 0.95, (0.0061, 0.1718), (0.0009, 0.1776)),
    (4, 20, 0.90, (0.09312, 0.37838), (0.07135, 0.40103)),
    (10, 10, 0.95, (0.7225, 1.0000), (0.6915, 1.0000)),
    (29, 30, 0.95, (0.8333, 0.9941), (0.8278, 0.9992)),
]

# Zero failures in n, 95 %: 3/n and the exact 1 - 0.05^(1/n); from memory, confirmed by the formula.
NO_FAILURE = [
    (30, 0.1, 0.095034),
    (100, 0.03, 0.029513),
    (300, 0.01, 0.009936),
    (1000, 0.003, 0.002991),
]

# Success run theorem, computed: smallest n with 1 - R^n >= C.
SUCCESS_RUN = [("0.90", "0.95", 29), ("0.95", "0.95", 59), ("0.99", "0.95", 299)]


@pytest.mark.parametrize(("passes", "trials", "level", "score", "exact"), TABLE)
def test_intervals_of_the_published_table(passes, trials, level, score, exact):
    assert pytest.approx(score, abs=5.1e-5) == wilson(passes, trials, level)
    assert pytest.approx(exact, abs=5.1e-5) == clopper_pearson(passes, trials, level)


def test_difference_of_two_shares_as_published():
    # Newcombe 1998, Statistics in Medicine 17, 873-890, table II, method 10: 56/70 against 48/80.
    assert pytest.approx((0.0524, 0.3339), abs=5.1e-5) == newcombe((56, 70), (48, 80))


@pytest.mark.parametrize(("trials", "approximate", "exact"), NO_FAILURE)
def test_no_failure(trials, approximate, exact):
    assert rule_of_three(trials) == pytest.approx(approximate)
    assert zero_failure_bound(trials) == pytest.approx(exact, abs=1e-6)
    assert upper_bound(0, trials) == pytest.approx(exact, abs=1e-6)


@pytest.mark.parametrize(("reliability", "confidence", "trials"), SUCCESS_RUN)
def test_trials_without_failure(reliability, confidence, trials):
    assert zero_failure_trials(D(reliability), D(confidence)) == trials


def test_trials_without_failure_on_the_exact_edge():
    assert zero_failure_trials(D("0.5"), D("0.75")) == 2
    assert zero_failure_trials(D("0.1"), D("0.5")) == 1
    assert zero_failure_trials(D("0.99999"), D("0.95")) == 299_572  # ln 0.05 / ln 0.99999, up


@given(st.integers(1, 500), st.floats(0, 1), st.sampled_from([0.5, 0.9, 0.95, 0.99, 0.999]))
def test_intervals_agree_with_statsmodels(trials, share, level):
    passes = round(trials * share)
    score = proportion_confint(passes, trials, 1 - level, method="wilson")
    exact = proportion_confint(passes, trials, 1 - level, method="beta")

    assert wilson(passes, trials, level) == pytest.approx(score, abs=1e-9)
    assert clopper_pearson(passes, trials, level) == pytest.approx(exact, abs=1e-9)


@given(st.integers(1, 100), st.floats(0, 1), st.integers(1, 100), st.floats(0, 1))
def test_difference_agrees_with_statsmodels(trials, share, others, other_share):
    passes, more = round(trials * share), round(others * other_share)
    peer = confint_proportions_2indep(passes, trials, more, others, method="newcomb")

    assert newcombe((passes, trials), (more, others)) == pytest.approx(peer, abs=1e-9)


def test_one_sided_bounds_are_half_of_the_two_sided_interval():
    assert clopper_pearson(7, 50, 0.90) == (lower_bound(7, 50, 0.95), upper_bound(7, 50, 0.95))
    assert (lower_bound(0, 5), upper_bound(5, 5)) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("passes", "trials", "level"), [(1, 0, 0.9), (-1, 5, 0.9), (6, 5, 0.9), (1, 5, 0), (1, 5, 1)]
)
@pytest.mark.parametrize("interval", [wilson, clopper_pearson, lower_bound, upper_bound])
def test_proportions_that_make_no_sense_are_refused(interval, passes, trials, level):
    with pytest.raises(ValueError):
        interval(passes, trials, level)


@pytest.mark.parametrize(("reliability", "confidence"), [("1", "0.9"), ("0", "0.9"), ("0.9", "1")])
def test_a_success_run_that_cannot_be_is_refused(reliability, confidence):
    with pytest.raises(ValueError):
        zero_failure_trials(D(reliability), D(confidence))
