"""Decision rules against published examples."""

from decimal import Decimal as D

import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from hil.core.verdict import Outcome
from hil.measure.decision import (
    GuardedAcceptance,
    SimpleAcceptance,
    StatedRisk,
    can_pass,
    conformity,
    decide,
)
from hil.measure.uncertainty import Uncertainty, from_expanded

# JCGM 106:2012 clause 7: breakdown voltage of a Zener diode, printed 0.92, and SAE 40 oil, printed
# 0.66; from memory, and confirmed by the formula.
JCGM = [
    (None, "-5.40", "-5.47", "0.05", 0.9192, 0.92),
    ("12.5", "16.3", "13.6", "1.8", 0.6626, 0.66),
]

# A micrometer, limit ±0.003 mm, U 0.0010 mm, k = 2, acceptance limit ±0.002 mm: example of an
# article on ILAC-G8 (https://talalspecialbolt.com/en-fr/blogs/methodes-detalonnage/
# regle-de-decision-ilac-g8-et-zone-de-garde-comment-prononcer-la-conformite-en-metrologie-iso-17025).
LIMIT = D("0.003")
MICROMETER = Uncertainty(standard=from_expanded(D("0.0010")))
GUARDED = [
    ("0.0017", Outcome.PASS, "pass"),
    ("0.0020", Outcome.PASS, "pass"),
    ("0.0025", Outcome.INCONCLUSIVE, "conditional pass"),
    ("0.0035", Outcome.INCONCLUSIVE, "conditional fail"),
    ("0.0041", Outcome.FAIL, "fail"),
    ("-0.0025", Outcome.INCONCLUSIVE, "conditional pass"),
]
# computed, u = U/2
CONFORMITY = {"0.0017": 0.99534, "0.0020": 0.97725, "0.0025": 0.84134, "0.0035": 0.15866}

# False-accept risk of a reading on the acceptance limit: ILAC-G8:09/2019 table 1 (0.5; "< 2.5 %"
# with w = U), ISO 14253-1 (w = 1.65 u, 95 % conformance, from memory), 1.5 U computed.
AT_THE_LIMIT = [("0", 0.5), ("1", 0.0228), ("0.825", 0.0495), ("1.5", 0.00135)]


def optional(text):
    return None if text is None else D(text)


def judged(reading, rule, uncertainty=MICROMETER):
    return decide(D(reading), low=-LIMIT, high=LIMIT, uncertainty=uncertainty, rule=rule)


@pytest.mark.parametrize(("low", "high", "reading", "u", "exact", "printed"), JCGM)
def test_conformity_of_the_published_examples(low, high, reading, u, exact, printed):
    found = conformity(D(reading), optional(low), optional(high), D(u))

    assert found == pytest.approx(exact, abs=5e-5)
    assert round(found, 2) == printed


@pytest.mark.parametrize(("reading", "outcome", "statement"), GUARDED)
def test_guarded_acceptance_of_the_micrometer(reading, outcome, statement):
    found = judged(reading, GuardedAcceptance())

    assert (found.outcome, found.statement) == (outcome, statement)
    assert found.guard == D("0.0010")


@pytest.mark.parametrize(("reading", "probability"), CONFORMITY.items())
def test_conformity_of_the_micrometer(reading, probability):
    found = judged(reading, SimpleAcceptance())

    assert found.conformity == pytest.approx(probability, abs=5e-6)
    assert found.false_accept == pytest.approx(1 - probability, abs=5e-6)


@pytest.mark.parametrize(("multiple", "risk"), AT_THE_LIMIT)
def test_the_risk_on_the_acceptance_limit(multiple, risk):
    # a limit so wide that the other one plays no part
    uncertainty = Uncertainty(standard=D("0.5"))
    reading = D(100) - D(multiple) * uncertainty.expanded
    rule = GuardedAcceptance(D(multiple))

    found = decide(reading, low=None, high=D(100), uncertainty=uncertainty, rule=rule)

    assert found.outcome is Outcome.PASS
    assert found.false_accept == pytest.approx(risk, abs=5e-5)


@pytest.mark.parametrize(
    ("reading", "outcome"),
    [("0.003", Outcome.PASS), ("0.0030001", Outcome.FAIL), ("-0.003", Outcome.PASS)],
)
def test_simple_acceptance_takes_the_limit_itself(reading, outcome):
    assert judged(reading, SimpleAcceptance()).outcome is outcome


@pytest.mark.parametrize(
    ("reading", "outcome"),
    [
        ("0.0020", Outcome.PASS),  # risk 0.0228
        ("0.0021", Outcome.INCONCLUSIVE),  # risk 0.0359
        ("0.0039", Outcome.INCONCLUSIVE),
        ("0.0040", Outcome.FAIL),
    ],
)
def test_stated_risk(reading, outcome):
    found = judged(reading, StatedRisk(D("0.025")))

    assert found.outcome is outcome
    assert found.guard is None and found.margin is None


def test_margin_is_one_at_the_centre_and_nothing_on_the_acceptance_limit():
    rule = GuardedAcceptance()

    assert [judged(r, rule).margin for r in ("0", "0.001", "0.002", "0.003")] == [1, 0.5, 0, -0.5]


def test_an_uncertainty_as_wide_as_the_tolerance_can_never_pass():
    wide = Uncertainty(standard=D("0.002"))

    assert can_pass(-LIMIT, LIMIT, MICROMETER, GuardedAcceptance())
    assert not can_pass(-LIMIT, LIMIT, wide, GuardedAcceptance())
    assert not can_pass(-LIMIT, LIMIT, wide, StatedRisk(D("0.05")))
    assert can_pass(-LIMIT, None, wide, GuardedAcceptance())
    assert can_pass(-LIMIT, LIMIT, wide, SimpleAcceptance())


def test_without_uncertainty_every_rule_is_simple_acceptance():
    sure = Uncertainty(standard=D(0))
    for rule in (SimpleAcceptance(), GuardedAcceptance(), StatedRisk(D("0.05"))):
        assert judged("0.003", rule, sure).outcome is Outcome.PASS
        assert judged("0.0031", rule, sure).outcome is Outcome.FAIL


@given(
    reading=st.decimals(-10, 10, places=3),
    low=st.none() | st.decimals(-10, 0, places=3),
    high=st.none() | st.decimals(0, 10, places=3),
    u=st.decimals("0.001", 10, places=3),
)
def test_conformity_agrees_with_scipy(reading, low, high, u):
    normal = scipy.stats.norm(float(reading), float(u))
    above = 1.0 if high is None else normal.cdf(float(high))
    below = 0.0 if low is None else normal.cdf(float(low))

    assert conformity(reading, low, high, u) == pytest.approx(above - below, abs=1e-12)


@pytest.mark.parametrize(
    "make",
    [
        lambda: GuardedAcceptance(D(-1)),
        lambda: StatedRisk(D(0)),
        lambda: StatedRisk(D("0.5")),
        lambda: conformity(D(0), None, None, D(-1)),
        lambda: decide(D(0), low=D(1), high=D(-1), uncertainty=MICROMETER, rule=SimpleAcceptance()),
    ],
)
def test_rules_that_make_no_sense_are_refused(make):
    with pytest.raises(ValueError):
        make()
