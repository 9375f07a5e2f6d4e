"""Statements on many trials: exact, and stopped early without a difference."""

from decimal import Decimal

import numpy as np
import pytest
import scipy.stats
from core.paper import ms
from hypothesis import given
from hypothesis import strategies as st

from hil.core.verdict import Outcome
from hil.measure.proportion import lower_bound, upper_bound
from hil.measure.trial_statement import AtLeast, Percentile, Standing
from hil.measure.trials import Statement, Trials


def run(statement, results):
    """Return the verdict of all trials, without stopping early."""
    trials = Trials(statement)
    for passed in results:
        trials.add(bool(passed))
    return trials.decided


def test_limits_are_those_of_the_exact_binomial():
    # 299 without a failure show 99 % with 95 %: success run; 473 are needed with one failure
    # (common tables of acceptance sampling, from memory; the bound confirms it).
    assert Statement(0.99, 0.95, 298).most_failures == -1
    assert Statement(0.99, 0.95, 299).most_failures == 0
    assert Statement(0.99, 0.95, 472).most_failures == 0
    assert Statement(0.99, 0.95, 473).most_failures == 1


@given(st.integers(1, 400), st.floats(0.05, 0.999), st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_limits_agree_with_the_one_sided_intervals(trials, share, confidence):
    statement = Statement(share, confidence, trials)
    most, least = statement.most_failures, statement.least_failures

    if most >= 0:
        assert lower_bound(trials - most, trials, confidence) >= share - 1e-9
    if most + 1 <= trials:
        assert lower_bound(trials - most - 1, trials, confidence) < share + 1e-9
    if least <= trials:
        assert upper_bound(trials - least, trials, confidence) <= share + 1e-9
    assert upper_bound(trials - least + 1, trials, confidence) > share - 1e-9
    assert statement.provable == (most >= 0)


@given(
    st.lists(st.booleans(), min_size=1, max_size=60),
    st.floats(0.05, 0.95),
    st.sampled_from([0.5, 0.8, 0.95]),
)
def test_an_early_verdict_is_the_one_of_all_trials(results, share, confidence):
    statement = Statement(share, confidence, len(results))
    final = run(statement, results)
    trials = Trials(statement)

    for passed in results:
        before = trials.decided
        assert before in (None, final)
        assert trials.can_pass or before is not Outcome.PASS
        trials.add(passed)
    assert trials.decided is final


@given(st.integers(1, 60), st.floats(0.05, 0.95), st.data())
def test_while_open_the_rest_can_still_change_it(count, share, data):
    statement = Statement(share, 0.9, count)
    seen = data.draw(st.lists(st.booleans(), max_size=count - 1))
    trials = Trials(statement)
    for passed in seen:
        trials.add(passed)
    left = count - len(seen)

    ends = {run(statement, [*seen, *[True] * n, *[False] * (left - n)]) for n in range(left + 1)}
    assert (trials.decided is None) == (len(ends) > 1)


def test_a_thousand_passes_stop_early():
    trials = Trials(Statement(0.99, 0.95, 1_000))
    needed = 0
    while trials.decided is None:
        trials.add(True)
        needed += 1

    assert trials.decided is Outcome.PASS
    assert needed == 1_000 - trials.statement.most_failures


def test_failing_from_the_start_stops_early():
    trials = Trials(Statement(0.99, 0.95, 1_000))
    while trials.decided is None:
        trials.add(False)

    assert trials.decided is Outcome.FAIL
    assert trials.seen == trials.statement.least_failures < 25


def test_too_few_trials_stay_inconclusive():
    statement = Statement(0.99, 0.95, 100)

    assert not statement.provable
    assert run(statement, [True] * 100) is Outcome.INCONCLUSIVE


def test_margin_is_the_part_of_the_allowed_failures_left():
    trials = Trials(Statement(0.9, 0.95, 200))
    most = trials.statement.most_failures
    margins = [trials.margin]
    for _ in range(most + 1):
        trials.add(False)
        margins.append(trials.margin)

    assert (margins[0], margins[most]) == (1, 0)
    assert margins[most + 1] < 0


def test_margin_where_no_failure_is_allowed():
    trials = Trials(Statement(0.99, 0.95, 299))
    assert trials.margin == 1

    trials.add(False)

    assert trials.margin == -1


@pytest.mark.parametrize("share", [0.9, 0.99])
def test_a_wrong_statement_is_proven_no_more_often_than_it_may(share):
    # 95 % means at least 95 %: exactly by the binomial tail, and by a seeded simulation
    statement = Statement(share, 0.95, 500)
    chance = np.random.default_rng(20)
    failures = (chance.random((4_000, 500)) >= share).sum(axis=1)

    exact_pass = scipy.stats.binom.cdf(statement.most_failures, 500, 1 - share)
    exact_fail = scipy.stats.binom.sf(statement.least_failures - 1, 500, 1 - share)
    assert exact_pass <= 0.05 and exact_fail <= 0.05
    assert (failures <= statement.most_failures).mean() == pytest.approx(exact_pass, abs=0.012)
    assert (failures >= statement.least_failures).mean() == pytest.approx(exact_fail, abs=0.012)


def test_one_trial_too_many_is_refused():
    trials = Trials(Statement(0.5, 0.5, 1))
    trials.add(True)

    with pytest.raises(ValueError, match="all 1 trials"):
        trials.add(True)


@pytest.mark.parametrize(
    ("share", "confidence", "count"), [(1, 0.9, 5), (0.9, 0, 5), (0.9, 0.9, 0)]
)
def test_statements_that_make_no_sense_are_refused(share, confidence, count):
    with pytest.raises(ValueError):
        Statement(share, confidence, count)


def test_a_doubt_that_is_just_kept_is_kept():
    # two passes of two show 30 % with 91 %: 0.3² <= 1 - 0.91, though not in binary fractions
    assert Statement(share=0.3, confidence=0.91, trials=2).most_failures == 0
    assert Statement(share=0.3, confidence=0.9101, trials=2).most_failures == -1


@pytest.mark.parametrize(
    ("below", "outcome", "margin"),
    [
        (8, Outcome.PASS, 0.0),  # the late end counts for a pass
        (10, Outcome.PASS, 0.2),
        (7, Outcome.INCONCLUSIVE, None),
        (3, Outcome.INCONCLUSIVE, None),
        (2, Outcome.FAIL, -0.5),  # the early end for a fail
    ],
)
def test_a_latency_that_lies_between_two_looks_counts_as_bad_for_a_pass_and_good_for_a_fail(
    below, outcome, margin
):
    wanted = Percentile(share=Decimal("0.9"), confidence=Decimal("0.95"), below=ms(below))
    standing = Standing(wanted, 40)
    while standing.decided is None:
        standing.add(True, (ms(3), ms(8)))

    assert standing.decided is outcome
    assert standing.margin == margin


def test_a_pass_says_whether_it_would_stand_with_failures():
    # of 59 none may fail for 95 %, of 93 one (P(<= 1 of 93 | 5 %) = 4.98 %)
    for count, most in ((59, 0), (93, 1)):
        standing = Standing(AtLeast(share=Decimal("0.95"), confidence=Decimal("0.95")), count)
        for _ in range(count):
            standing.add(True, None)

        assert standing.stands_with(most) and not standing.stands_with(most + 1)
