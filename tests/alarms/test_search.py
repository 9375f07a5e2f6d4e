"""The search for a trip point: right, within its budget, and alert to odd answers."""

import math

import pytest
from alarms.drawing import feed, pressure
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.alarms.edge import edges
from hil.alarms.grid import grid_of
from hil.alarms.search import Bracket, Side, TripSearch, most_probes
from hil.alarms.target import reset_target, trip_target


def play(search: TripSearch, is_beyond) -> list[int]:
    probes = []
    while (probe := search.next_probe()) is not None:
        probes.append(probe)
        search.answer(probe, Side.BEYOND if is_beyond(probe) else Side.BEFORE)
    return probes


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.data())
def test_a_search_finds_the_step_within_its_budget_wherever_it_is(data):
    low = data.draw(st.integers(-5000, 5000))
    high = low + data.draw(st.integers(0, 5000))
    rising = data.draw(st.booleans())
    first = data.draw(st.integers(low - 1, high + 1))  # the first count beyond, or none
    search = TripSearch(
        low=low, high=high, rising=rising, expected=data.draw(st.integers(low - 9, high + 9))
    )

    probes = play(search, lambda count: count >= first if rising else count <= first)

    before = first - 1 if rising else first + 1
    if rising:
        first = max(first, low)
    else:
        first = min(first, high)
    inside = range(low, high + 1)
    assert (
        Bracket(before if before in inside else None, first if first in inside else None)
        == search.bracket
    )
    assert search.monotonic
    assert len(probes) == len(set(probes)) == search.probes
    assert all(probe in inside for probe in probes)
    assert len(probes) <= math.ceil(math.log2(max(1, high - low))) + 3


@pytest.mark.parametrize("rising", [True, False])
def test_every_step_of_a_12_bit_range_is_found_as_an_exhaustive_sweep_finds_it(rising):
    for first in range(0, 4096, 97):
        search = TripSearch(low=0, high=4095, rising=rising, expected=2000)

        def is_beyond(count, first=first):
            return count >= first if rising else count <= first

        play(search, is_beyond)
        way = range(4096) if rising else range(4095, -1, -1)
        swept = next(count for count in way if is_beyond(count))

        assert swept == search.bracket.first_beyond
        assert search.probes <= 15


def test_a_step_where_it_is_expected_takes_two_probes_and_the_staircase():
    search = TripSearch(low=0, high=1000, rising=True, expected=360)

    assert play(search, lambda count: count >= 360) == [359, 360, 358, 361, 357, 362]
    assert Bracket(359, 360) == search.bracket


@pytest.mark.parametrize(("answer", "bracket"), [(False, (1000, None)), (True, (None, 0))])
def test_a_node_that_never_or_always_trips_leaves_the_bracket_open(answer, bracket):
    search = TripSearch(low=0, high=1000, rising=True, expected=360)
    play(search, lambda count: answer)

    assert Bracket(*bracket) == search.bracket


@pytest.mark.parametrize(
    ("odd", "bracket"), [(358, (None, 360)), (361, (359, None)), (357, (None, 360))]
)
def test_answers_that_form_no_single_step_are_noticed(odd, bracket):
    search = TripSearch(low=0, high=1000, rising=True, expected=360)
    play(search, lambda count: (count >= 360) is not (count == odd))

    assert not search.monotonic
    assert (odd,) == search.contradictions
    assert Bracket(*bracket) == search.bracket


def test_a_bracket_with_odd_answers_reaches_to_the_nearest_count_that_fits():
    search = TripSearch(low=0, high=1000, rising=True, expected=100)
    play(search, lambda count: count >= 360 and count != 361)

    assert search.contradictions == (361,)
    assert search.bracket.last_before == 359
    assert search.bracket.first_beyond > 361


def test_an_answer_to_another_question_is_refused():
    search = TripSearch(low=0, high=10, rising=True, expected=5)

    with pytest.raises(ValueError, match="asked was 4"):
        search.answer(7, Side.BEFORE)


def test_an_empty_range_is_refused():
    with pytest.raises(ValueError, match="no count"):
        TripSearch(low=1, high=0, rising=True, expected=0)


@pytest.mark.parametrize(
    ("span", "most"), [(0, 3), (1, 3), (2, 4), (3, 5), (4, 5), (5, 6), (1000, 13), (4096, 15)]
)
def test_the_budget_is_the_logarithm_of_the_range_and_three(span, most):
    assert most == most_probes(100, 100 + span)


def test_the_targets_of_the_feed_pressure_are_those_of_its_comment():
    described, grid = feed(), grid_of(pressure())
    found = {
        edge.alarm: (trip_target(described, edge, grid), reset_target(described, edge, grid))
        for edge in edges(described)
    }

    # amber from 3.60 bar up and from 1.00 bar down, red from 4.50 bar up, back when 0.15 inside
    assert found == {
        "low": (Bracket(101, 100), Bracket(114, 115)),
        "amber": (Bracket(359, 360), Bracket(346, 345)),
        "red": (Bracket(449, 450), Bracket(436, 435)),
    }
