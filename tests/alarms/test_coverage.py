"""Coverage of transitions, and the walk that makes all of them."""

from itertools import pairwise

import pytest

from hil.alarms.coverage import Coverage, tour

BANDS = ("dry", "low", "normal", "full", "over")


@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 5])
def test_a_tour_makes_each_ordered_transition_once(count):
    bands = BANDS[:count]
    made = list(pairwise(tour(bands)))

    assert {(one, other) for one in bands for other in bands if one != other} == set(made)
    assert len(made) == count * max(0, count - 1)


def test_coverage_counts_jumps_and_lists_what_is_left():
    coverage = Coverage(("low", "green", "red"))
    for before, after in [("green", "red"), ("red", "low"), ("low", "green"), ("red", "low")]:
        coverage.note(before, after)

    assert coverage.share == 0.5
    assert coverage.uncovered == (("low", "red"), ("green", "low"), ("red", "green"))
    assert coverage.never_reached == ()


def test_a_band_that_nothing_led_into_was_never_provoked():
    coverage = Coverage(("low", "green", "red"))
    coverage.note("green", "red")
    coverage.note("fault", "green")

    assert coverage.never_reached == ("low",)
    assert coverage.share == pytest.approx(1 / 6)


def test_one_band_has_nothing_to_cover():
    assert Coverage(("green",)).share == 1
