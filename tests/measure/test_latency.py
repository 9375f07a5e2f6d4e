"""Latency percentiles, and that their bounds hold as often as they say."""

from decimal import Decimal as D

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from hil.measure.latency import (
    inverse_percentile,
    least_trials,
    lower_rank,
    median,
    minimum,
    percentile,
    supports,
    upper_rank,
)

# RFC 7679 section 5's sample of delays: 100, 110, undefined, 90 and 500 ms (the numbers from
# memory, confirmed by the rules): 50th percentile 110 ms, minimum 90 ms, share at or below 103: 40 %.
SAMPLE = [100, 110, None, 90, 500]


def test_statistics_of_the_rfc_7679_sample():
    assert percentile(SAMPLE, D("0.5"), D("0.5")).estimate == 110
    assert median(SAMPLE) == 110
    assert minimum(SAMPLE) == 90
    assert inverse_percentile(SAMPLE, 103) == D("0.4")


def test_lost_packets_are_infinite():
    assert percentile(SAMPLE, D("0.9"), D("0.5")).estimate is None
    assert minimum([None, None]) is None
    assert median([1, None]) is None
    assert median([4, 1, 2, 9]) == 3


# 59 and 299 are the success-run numbers for 95 % and 99 % at 95 % confidence.
@pytest.mark.parametrize(("share", "trials"), [("0.95", 59), ("0.99", 299), ("0.999", 2995)])
def test_a_percentile_takes_so_many_trials(share, trials):
    share, confidence = D(share), D("0.95")

    assert least_trials(share, confidence) == trials
    assert supports(trials, share, confidence) and not supports(trials - 1, share, confidence)
    assert upper_rank(trials, float(share), 0.95) == trials
    assert upper_rank(trials - 1, float(share), 0.95) is None


def test_too_few_trials_give_no_upper_bound():
    found = percentile(list(range(100)), D("0.99"))

    assert found.high is None
    assert not found.high_supported


@given(st.integers(1, 400), st.floats(0.01, 0.999), st.sampled_from([0.5, 0.9, 0.95, 0.99]))
def test_ranks_are_the_tightest_that_hold(trials, share, confidence):
    binomial = scipy.stats.binom(trials, share)
    upper, lower = upper_rank(trials, share, confidence), lower_rank(trials, share, confidence)

    if upper is not None:
        assert binomial.cdf(upper - 1) >= confidence - 1e-9
        assert upper == 1 or binomial.cdf(upper - 2) < confidence + 1e-9
    if lower is not None:
        assert binomial.sf(lower - 1) >= confidence - 1e-9
        assert lower == trials or binomial.sf(lower) < confidence + 1e-9


@pytest.mark.parametrize(("share", "truth"), [("0.5", 0.6931), ("0.9", 2.3026), ("0.95", 2.9957)])
def test_bounds_hold_at_least_as_often_as_they_say(share, truth):
    # delays of an exponential distribution; the true percentile is -ln(1 - p)
    chance = np.random.default_rng(7)
    rounds, trials = 2_000, 120
    exact = int(-np.log(1 - float(share)) * 1e6)
    upper, lower = upper_rank(trials, float(share), 0.95), lower_rank(trials, float(share), 0.95)
    delays = np.sort((chance.exponential(1e6, (rounds, trials))).astype(int), axis=1)

    above = (delays[:, upper - 1] >= exact).mean()
    below = (delays[:, lower - 1] <= exact).mean()

    assert exact == pytest.approx(truth * 1e6, rel=1e-3)
    assert 0.945 <= above <= 0.995
    assert 0.945 <= below <= 0.995


def test_a_percentile_uses_those_ranks():
    delays = list(range(1, 101))

    found = percentile(delays[::-1], D("0.5"))

    assert (found.low, found.estimate, found.high) == (42, 50, 59)


@pytest.mark.parametrize(
    "ask",
    [
        lambda: percentile([], D("0.5")),
        lambda: percentile([1], D(0)),
        lambda: percentile([1], D(1)),
        lambda: percentile([1], D("0.5"), D(1)),
        lambda: median([]),
        lambda: inverse_percentile([], 1),
    ],
)
def test_questions_that_make_no_sense_are_refused(ask):
    with pytest.raises(ValueError):
        ask()
