"""Decision rules in time: acceptance and rejection limits, conditional verdicts, their words."""

from dataclasses import replace
from decimal import Decimal

import pytest
from core.paper import limits, ms
from laws import obey, run
from measure.meters import START, expecting, number, scene, seen

from hil.core.plan import Timing
from hil.core.signal import Accuracy
from hil.core.verdict import Outcome
from hil.measure.acceptance import Ruling
from hil.measure.decision import GuardedAcceptance, SimpleAcceptance, StatedRisk
from hil.measure.ruling import Ruled

PATH = "console.feed-reading"
GUARDED, SIMPLE, RISK = GuardedAcceptance(), SimpleAcceptance(), StatedRisk(Decimal("0.05"))
# ± 0.03 bar with certainty: u = 0.03/√3, U = 2u = 0.0346 bar (GUM 4.3.7)
SIGNAL = number(PATH, "bar", accuracy=Decimal("0.03"))
U = Decimal(2) * Decimal("0.03") / Decimal(3).sqrt()


def judge(values, rule, low="4.7", high="4.9", before=(), signal=SIGNAL, every=10, **timing):
    measure = Ruled(limits=limits(low, high), rule=rule)
    expectation = replace(
        expecting(measure, PATH, wanted="4.80 bar ± 0.10 bar"),
        condition=limits(low, high),
        timing=Timing(**(timing or {"within": ms(500)})),
    )
    things = [seen(PATH, every * (place + 1), value) for place, value in enumerate(values)]

    def make():
        (meter,) = measure.begin(scene([signal], before), expectation, START)
        meter.stimulated(START)
        return meter

    obey(make, things, START + ms(2000), lambda meter: meter.finding)
    meter = make()
    run(meter, things, START + ms(2000))
    assert meter.finding is not None
    return meter.finding


@pytest.mark.parametrize(
    ("value", "rule", "outcome"),
    [
        ("4.80", GUARDED, Outcome.PASS),
        ("4.86", GUARDED, Outcome.PASS),  # 4.9 - 0.0346 = 4.8654
        ("4.87", GUARDED, Outcome.INCONCLUSIVE),
        ("4.93", GUARDED, Outcome.INCONCLUSIVE),
        ("4.94", GUARDED, Outcome.FAIL),  # 4.9 + 0.0346 = 4.9346
        ("4.90", SIMPLE, Outcome.PASS),
        ("4.91", SIMPLE, Outcome.FAIL),
        ("4.87", RISK, Outcome.PASS),
        ("4.88", RISK, Outcome.INCONCLUSIVE),
        ("4.93", RISK, Outcome.FAIL),
    ],
)
def test_a_reading_passes_fails_or_is_conditional(value, rule, outcome):
    assert judge([value], rule).outcome is outcome


def test_acceptance_limits_are_those_of_the_rule():
    common = {"low": Decimal("4.7"), "high": Decimal("4.9"), "signal": SIGNAL}
    guarded = Ruling(rule=GUARDED, **common)
    # z of 95 % is 1.645 (NIST/SEMATECH e-Handbook, 1.3.6.7.1)
    upper = Ruling(rule=RISK, low=None, high=Decimal("4.9"), signal=SIGNAL)

    assert float(guarded.accepted().high) == pytest.approx(float(Decimal("4.9") - U))
    assert float(guarded.accepted().low) == pytest.approx(float(Decimal("4.7") + U))
    assert float(guarded.not_rejected().high) == pytest.approx(float(Decimal("4.9") + U))
    assert Ruling(rule=SIMPLE, **common).accepted() == limits("4.7", "4.9")
    assert float(upper.accepted().high) == pytest.approx(4.9 - 1.645 * float(U) / 2, abs=1e-5)


def test_an_instrument_too_coarse_for_the_tolerance_accepts_nothing():
    coarse = number(PATH, "bar", accuracy=Decimal("0.2"))
    ruling = Ruling(rule=GUARDED, low=Decimal("4.7"), high=Decimal("4.9"), signal=coarse)

    assert ruling.accepted() is None
    assert judge(["4.8"], GUARDED, signal=coarse).outcome is Outcome.INCONCLUSIVE


def test_the_stimulus_adds_to_what_is_unsure():
    alone = Ruling(rule=GUARDED, low=None, high=Decimal(5), signal=SIGNAL)
    both = replace(alone, stimulus=Decimal("0.04"))
    # u² = (0.03² + 0.04²)/3 (GUM 5.1.2)
    expected = 2 * (0.05**2 / 3) ** 0.5

    assert float(both.uncertainty(Decimal(5)).expanded) == pytest.approx(expected)
    assert both.accepted().high < alone.accepted().high


def test_an_accuracy_of_reading_guards_a_high_limit_wider():
    parts = Accuracy(of_reading=Decimal("0.01"))
    signal = number(PATH, "bar", accuracy_parts=parts)
    ruling = Ruling(rule=GUARDED, low=Decimal(1), high=Decimal(9), signal=signal)
    accepted = ruling.accepted()

    assert accepted.low - 1 < (9 - accepted.high) / 5


def test_the_words_name_rule_uncertainty_and_conformity():
    found = judge(["4.88"], GUARDED)

    assert "was 4.88 bar, a conditional pass, wanted 4.80 bar ± 0.10 bar" in found.said
    assert "guarded acceptance, U = 0.0346 bar, guard band 0.0346 bar, conforms with" in found.said
    assert found.margin is None
    assert found.figures[0].name == "reading"
    assert "a conditional fail" in judge(["4.92"], GUARDED).said


@pytest.mark.parametrize(
    ("values", "timing", "outcome"),
    [
        (["4.87", "4.80"], {"within": ms(15)}, Outcome.INCONCLUSIVE),
        (["4.87", "4.80"], {"within": ms(20)}, Outcome.PASS),
        (["4.80", "4.87"], {"within": ms(20), "hold": ms(100)}, Outcome.INCONCLUSIVE),
        (["4.80", "4.95"], {"within": ms(20), "hold": ms(100)}, Outcome.FAIL),
        (["4.80", "4.87"], {"during": (ms(0), ms(100))}, Outcome.INCONCLUSIVE),
        (["4.80", "4.95"], {"during": (ms(0), ms(100))}, Outcome.FAIL),
        (["5.2", "4.95"], {"never": ms(100)}, Outcome.PASS),
        (["5.2", "4.92"], {"never": ms(100)}, Outcome.INCONCLUSIVE),
        (["5.2", "4.80"], {"never": ms(100)}, Outcome.FAIL),
    ],
)
def test_every_time_word_is_decided_by_both_limits(values, timing, outcome):
    value = "5.2" if "never" in timing else "4.80"

    assert judge(values, GUARDED, before=[seen(PATH, -10, value)], **timing).outcome is outcome
