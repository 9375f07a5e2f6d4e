"""Decision rules against published examples of conformity with uncertainty."""

import math
from decimal import Decimal

import pytest

from hil.alarms.decision import Estimate, decide, estimate, judge_trip, probability
from hil.alarms.search import Bracket
from hil.alarms.spec import Rule
from hil.core.verdict import Outcome


# JCGM 106:2012, section 7 (from memory; the probabilities recomputed)
@pytest.mark.parametrize(
    ("value", "u", "low", "high", "conforms", "printed"),
    [
        (-5.47, 0.05, None, -5.40, 0.9192, 0.92),  # breakdown voltage at most -5.40 V
        (13.6, 1.8, 12.5, 16.3, 0.6626, 0.66),  # viscosity of an oil, 12.5 to 16.3 mm2/s
    ],
)
def test_the_probability_of_conformity_is_that_of_the_worked_examples(
    value, u, low, high, conforms, printed
):
    got = probability(value, u, low, high)

    assert got == pytest.approx(conforms, abs=5e-5)
    assert round(got, 2) == printed


# micrometer example of ILAC-G8 (limit ± 0.003 mm, U 0.0010 mm, k = 2: acceptance limit ± 0.002 mm)
@pytest.mark.parametrize(
    ("deviation", "outcome"),
    [
        (0.0017, Outcome.PASS),
        (0.0020, Outcome.PASS),
        (0.0025, Outcome.INCONCLUSIVE),
        (0.0035, Outcome.INCONCLUSIVE),
        (0.0041, Outcome.FAIL),
        (-0.0017, Outcome.PASS),
        (-0.0041, Outcome.FAIL),
    ],
)
def test_a_guard_band_moves_the_limits_of_the_micrometer(deviation, outcome):
    measured = Estimate(value=deviation, u=0.0005)
    got = decide(measured, -0.003, 0.003, Rule.GUARDED)

    assert outcome is got.outcome
    assert got.guard_band == pytest.approx(0.001)


# the same example, computed with u = U / 2
@pytest.mark.parametrize(
    ("deviation", "conforms"),
    [(0.0017, 0.99534), (0.0020, 0.97725), (0.0025, 0.84134), (0.0035, 0.15866)],
)
def test_the_probability_of_the_micrometer(deviation, conforms):
    assert probability(deviation, 0.0005, -0.003, 0.003) == pytest.approx(conforms, abs=5e-6)


# what sits exactly on the acceptance limit is wrong this often: ILAC-G8:09/2019 (simple 50 %, w = U
# below 2.5 %), ISO 14253-1 (0.83 U, from memory) and computed (1.5 U)
@pytest.mark.parametrize(
    ("guard", "false_accept"), [(0, 0.5), (1, 0.0228), (1.5, 0.00135), (0.825, 0.0495)]
)
def test_the_risk_at_the_acceptance_limit_is_the_published_one(guard, false_accept):
    u = 0.5
    on_limit = Estimate(value=100 - guard * 2 * u, u=u)
    got = decide(on_limit, None, 100, Rule.GUARDED, guard)

    assert got.outcome is Outcome.PASS
    assert 1 - got.conforms == pytest.approx(false_accept, abs=5e-5)


def test_simple_acceptance_decides_by_the_value_alone():
    for value, outcome in [(0.003, Outcome.PASS), (0.0031, Outcome.FAIL)]:
        got = decide(Estimate(value=value, u=0.0005), -0.003, 0.003, Rule.SIMPLE)

        assert (outcome, 0.0) == (got.outcome, got.guard_band)


# capability T / (2 U) at least 4 (from memory)
@pytest.mark.parametrize(
    ("u", "outcome"), [(0.1, Outcome.PASS), (0.125, Outcome.PASS), (0.13, Outcome.INCONCLUSIVE)]
)
def test_risk_is_shared_only_where_the_uncertainty_suits_the_tolerance(u, outcome):
    # tolerance ± 1: T = 2, U = 2 u
    assert outcome is decide(Estimate(value=0, u=u), -1, 1, Rule.SHARED).outcome


def test_risk_shared_with_a_small_uncertainty_still_fails_outside():
    assert decide(Estimate(value=1.1, u=0.01), -1, 1, Rule.SHARED).outcome is Outcome.FAIL


def test_without_uncertainty_all_rules_agree_on_the_limit_itself():
    exact = Estimate(value=1, u=0)

    assert {Outcome.PASS} == {decide(exact, -1, 1, rule).outcome for rule in Rule}
    assert decide(exact, -1, 1, Rule.SIMPLE).conforms == 1


def test_repeated_searches_give_mean_spread_and_uncertainty():
    found = estimate([Bracket(359, 360), Bracket(360, 361), Bracket(361, 362)], count=0.01)

    # middles 3.595, 3.605, 3.615: s = 0.01; u² = s²/3 + 0.01²/12 (JCGM 100:2008, 4.2.3 and 4.3.7)
    assert found.value == pytest.approx(3.605)
    assert found.spread == pytest.approx(0.01)
    assert found.u == pytest.approx(math.sqrt(0.0001 / 3 + 0.0001 / 12))
    assert found.expanded == pytest.approx(2 * found.u)


def test_no_closed_bracket_is_no_estimate():
    with pytest.raises(ValueError, match="both sides"):
        estimate([Bracket(1000, None), Bracket(None, 0)])


@pytest.mark.parametrize(
    ("got", "tolerance", "outcome"),
    [
        ((359, 360), "0", Outcome.PASS),
        ((360, 361), "0", Outcome.FAIL),
        ((360, 361), "0.02", Outcome.PASS),
        ((361, 362), "0.02", Outcome.INCONCLUSIVE),
        ((365, 366), "0.02", Outcome.FAIL),
        ((354, 355), "0.02", Outcome.FAIL),
    ],
)
def test_a_trip_point_is_judged_against_the_counts_of_the_spec(got, tolerance, outcome):
    measured = estimate([Bracket(*got)], count=0.01)
    judged = judge_trip(
        measured, Bracket(359, 360), Decimal(tolerance), Decimal("0.01"), Rule.GUARDED
    )

    assert outcome is judged.outcome


def test_a_trip_point_that_moves_between_repeats_is_not_exact():
    measured = estimate([Bracket(358, 359), Bracket(360, 361)], count=0.01)

    assert (
        judge_trip(measured, Bracket(359, 360), Decimal(0), Decimal("0.01"), Rule.SIMPLE).outcome
        is Outcome.FAIL
    )


def test_the_uncertainty_of_the_stimulus_is_added_in_squares():
    plain, with_stimulus = estimate([Bracket(0, 1)]), estimate([Bracket(0, 1)], instrument_u=3.0)

    assert with_stimulus.u == pytest.approx(math.hypot(plain.u, 3.0))


def test_a_rounding_error_of_binary_numbers_does_not_decide():
    measured = Estimate(value=0.1 + 0.2, u=0)  # 0.30000000000000004 (IEEE 754)

    assert decide(measured, None, 0.3, Rule.SIMPLE).outcome is Outcome.PASS
    below = Estimate(value=0.3, u=0)
    assert decide(below, 0.1 + 0.2, None, Rule.SIMPLE).outcome is Outcome.PASS
