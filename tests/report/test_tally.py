"""From events to results."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from report.runs import MISSED, begun, case, check, ended, over, result, run, started

from hil.core.verdict import Outcome
from hil.report.tally import Tally, fold


@pytest.mark.parametrize(
    "word", ["pass", "fail", "unstable", "inconclusive", "error", "skipped", "not run"]
)
def test_a_case_has_the_outcome_of_its_events(word):
    assert [Outcome(word)] == [case.outcome for case in result(word).cases]


def test_a_case_that_never_ended_is_an_error_that_says_so():
    found = fold([started("a", "b"), begun(0, "a"), check(0, "fail")])

    assert [case.outcome for case in found.cases] == [Outcome.ERROR, Outcome.NOT_RUN]
    assert found.cases[0].reasons == ("the run ended here", MISSED)


def test_a_second_attempt_that_was_broken_off_is_an_error():
    events = [started("a"), begun(0, "a"), ended(0, "a", "fail", "x"), begun(0, "a", 2)]

    assert [case.outcome for case in fold(events).cases] == [Outcome.ERROR]


def test_a_case_that_fails_again_is_a_failure():
    events = [started("a"), begun(0, "a"), ended(0, "a", "fail", "x"), begun(0, "a", 2)]
    found = fold([*events, ended(0, "a", "fail", "y", attempt=2)])

    assert (found.cases[0].outcome, found.cases[0].reasons) == (Outcome.FAIL, ("y",))


def test_nodes_have_their_checks_and_their_worst_margin():
    louvres = result("pass", "fail", "inconclusive").nodes[0]

    assert louvres.counts == {Outcome.PASS: 1, Outcome.FAIL: 1, Outcome.INCONCLUSIVE: 1}
    assert (louvres.margin, louvres.closest) == (-0.933, "louvres.vane-2.position")


def test_a_check_that_failed_without_a_margin_is_worse_than_any_number():
    events = [
        started("a", "b"),
        begun(0, "a"),
        check(0, "fail", signal="louvres.state", margin=None),
    ]
    events += [ended(0, "a", "fail", "x"), begun(1, "b"), check(1, "pass"), ended(1, "b", "pass")]
    (louvres,) = fold([*events, *over()]).nodes

    assert (louvres.margin, louvres.closest, louvres.unmeasured) == (None, "louvres.state", True)


def test_plans_count_their_cases():
    plan = result("pass", "pass", "fail", "skipped").plans[0]

    assert plan.counts() == {Outcome.PASS: 2, Outcome.FAIL: 1, Outcome.SKIPPED: 1}


def test_checks_of_passed_cases_are_let_go():
    passed, failed = result("pass", "fail").cases

    assert (passed.attempts[0].decided, len(passed.attempts[0].checks)) == (1, 0)
    assert (failed.attempts[0].decided, len(failed.attempts[0].checks)) == (1, 1)


def test_a_run_without_its_last_line_is_not_safe():
    assert result("pass").safe
    assert not fold(run("pass")[:-1]).safe


@settings(max_examples=60, deadline=None)
@given(st.permutations(run("pass", "fail", "unstable", "error")), st.integers(0, 20))
def test_events_in_any_order_and_number_are_folded(events, kept):
    found = fold(events[:kept])

    assert len(found.cases) == sum(len(plan.cases) for plan in found.plans)


def test_a_tally_can_be_asked_while_the_run_goes_on():
    tally = Tally()
    for event in [started("a", "b"), *case(0, "a", "pass")]:
        tally.receive(event)

    assert tally.result().counts() == {Outcome.PASS: 1, Outcome.NOT_RUN: 1}
    for event in over():
        tally.receive(event)
    assert tally.result().safe
