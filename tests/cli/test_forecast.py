"""The time left: right from the beginning where a run goes as its plan says."""

import doctest

import pytest
from core.paper import case, is_red, ms, step

import hil.cli.forecast
from hil.cli.forecast import Forecast, expected_seconds, show_left
from hil.measure.repeating import Repeating

QUICK = step({"beacon.lamp": "red"}, [is_red(within=ms(100))])
LONG = step({"beacon.lamp": "red"}, [is_red(during=(ms(0), ms(3000)))])


@pytest.mark.parametrize(
    ("seconds", "given"),
    [
        (0.05, case(step())),
        (0.10, case(QUICK)),
        (3.05, case(LONG)),
        (3.10, case(QUICK, LONG)),
        (0.75, case(step({"beacon.lamp": "red"}, [is_red(within=ms(400), hold=ms(500))]))),
        (0.35, case(step({}, [is_red(within=ms(400), not_before=ms(300))]))),
        (0.85, case(step({}, [is_red(never=ms(800)), is_red(within=ms(50))]))),
        (1.05, case(step(wait=ms(1000)))),
        (0.0, case(LONG, skip="no lamp here")),
    ],
)
def test_a_case_takes_about_what_its_windows_say(seconds, given):
    assert expected_seconds(given) == pytest.approx(seconds)


def test_trials_take_as_long_as_all_of_them():
    trials = Repeating(case=case(QUICK), count=40, wanted=())
    repeated = step()
    object.__setattr__(repeated, "job", trials)

    assert expected_seconds(case(repeated)) == pytest.approx(0.05 + 40 * 0.10)


def shown(expected, took, trust=5.0):
    """Play cases that take so long; return what was said to be left, and what was, after each."""
    forecast = Forecast(expected, 0.0, trust)
    now, told = 0.0, [(forecast.left(0.0), sum(took))]
    for index, seconds in enumerate(took):
        forecast.began(index)
        now += seconds
        forecast.ended(index, now)
        told.append((forecast.left(now), sum(took[index + 1 :])))
    return told


def test_quick_cases_first_do_not_promise_a_quick_end():
    expected = [0.1] * 20 + [3.05] * 16
    told = shown(expected, [0.07] * 20 + [3.1] * 16)

    assert all(left == pytest.approx(true, rel=0.15) for left, true in told[:-1])
    assert told[-1][0] is None


def test_a_rack_slower_than_its_plan_is_noticed():
    told = shown([1.0] * 60, [2.0] * 60)

    assert told[0][0] == 60
    assert told[30][0] == pytest.approx(60, rel=0.1)


def test_without_trust_nothing_is_said_before_something_ended():
    told = shown([1.0, 1.0], [0.01, 0.01], trust=0.0)

    assert [left for left, _ in told] == [None, pytest.approx(0.01), None]


def test_time_runs_down_within_a_case():
    forecast = Forecast([10.0, 10.0], 0.0)
    forecast.ended(0, 10.0)

    assert [forecast.left(now) for now in (10.0, 14.0, 40.0)] == [10.0, 6.0, 0.0]


def test_another_attempt_is_not_over():
    forecast = Forecast([1.0, 1.0], 0.0)
    forecast.ended(0, 1.0)
    forecast.began(0)

    assert (forecast.done, forecast.left(1.0)) == (0, pytest.approx(2.4))


def test_the_examples_in_the_text_are_true():
    failed, tried = doctest.testmod(hil.cli.forecast)

    assert tried
    assert not failed
    assert show_left(0.2) == "about 0 s left"
