"""The words of a response, and `others`: read, and refused with what would work."""

from decimal import Decimal

import pytest
from files.probes import BENCH, bench, bench_mistakes, cases, mistakes, plan_text

from hil.measure.response import Quantity
from hil.measure.step_response import Variant
from hil.measure.stillness import Stillness

BASE = "signal: probe.position, value: 30 deg, tolerance: 1.5 deg, within: 600 ms"


def read_steps(rack, tmp_path, body):
    return cases(tmp_path, rack, plan_text(body))[0].steps


def plan_mistakes(rack, tmp_path, body):
    return mistakes(tmp_path, rack, plan_text(body))


def step(more, wait=""):
    return f"- {wait}stimulus: {{probe.angle: 30 deg}}\n  expect:\n    - {{{BASE}, {more}}}"


def measures(rack, tmp_path, body):
    (first, *_) = read_steps(rack, tmp_path, body)
    return [one for one in first.expectations if one.measure is not None]


def test_every_figure_is_an_expectation_of_its_own(rack, tmp_path):
    body = step(
        "settle: 300 ms, overshoot: 5 %, undershoot: 2 %, rise: 20 ms to 200 ms, "
        "delay: at most 0.1 s, slew: at least 20 deg/s, hold: 100 ms"
    )
    found = measures(rack, tmp_path, body)
    bounds = {one.measure.quantity: one.measure.bound for one in found}

    assert [one.measure.window for one in found] == [700_000_000] * 6
    assert (bounds[Quantity.SETTLING].low, bounds[Quantity.SETTLING].high) == (None, 300_000_000)
    assert bounds[Quantity.OVERSHOOT].high == 5
    assert bounds[Quantity.TRANSITION].low == 20_000_000
    assert bounds[Quantity.SLEW_RATE].low == 20 and bounds[Quantity.SLEW_RATE].high is None
    assert found[0].measure.half_width == Decimal("1.5")
    assert found[0].wanted == "settling time at most 300 ms into 30.0 deg ± 1.5 deg"
    assert found[0].measure.variant is Variant.CONTROL


def test_the_terms_of_ieee_181_are_asked_for(rack, tmp_path):
    body = step("by: ieee-181, settle: 300 ms", "wait: 300 ms\n  ")

    assert measures(rack, tmp_path, body)[0].measure.variant is Variant.IEEE_181


@pytest.mark.parametrize(
    ("more", "what"),
    [
        (
            "settle: 600 ms",
            "settle: 600 ms is not seen to its end: the response is watched for 600 ms",
        ),
        ("settle: 0 s", "settle: expected more than 0 s"),
        ("settle: 5 %", "settle: `5 %`"),
        ("overshoot: 5", "overshoot: `5` has no unit"),
        ("overshoot: -5 %", "overshoot: expected 0 % or more"),
        ("slew: 200 deg/s", "slew: `200 deg/s` does not say which way"),
        ("slew: at least 200 bar/s", "slew: `200 bar/s` is not a rate of deg"),
        ("rise: 200 ms to 20 ms", "rise: the first end must be below the second"),
        ("by: ieee-181, rise: 20 ms", "by: `ieee-181` needs the level before the step"),
        ("by: from-step", "`by` goes only with `settle`"),
    ],
)
def test_what_cannot_be_measured_is_refused(rack, tmp_path, more, what):
    found = plan_mistakes(rack, tmp_path, step(more))

    assert any(what in one for one in found), found


@pytest.mark.parametrize(
    ("expectation", "what"),
    [
        (
            "{signal: probe.position, value: 3 deg, within: 1 s, settle: 300 ms}",
            "with a `tolerance`",
        ),
        (
            "{signal: probe.position, between: 1 deg to 2 deg, within: 1 s, settle: 300 ms}",
            "`settle` goes only with `value`",
        ),
        (
            "{signal: probe.position, value: 3 deg, tolerance: 1 deg, during: 1 s, settle: 300 ms}",
            "`settle` goes only with `within`",
        ),
        ("{signal: probe.lamp, value: red, within: 1 s, overshoot: 5 %}", "`tolerance`"),
        (
            "{signal: probe.pressure, value: 3 bar, tolerance: 0.01 bar, within: 1 s, settle: 300 ms}",
            "wanders by 0.01 bar at rest",
        ),
        (
            "{signal: slow.warmth, value: 3 degC, tolerance: 1 degC, within: 1 s, settle: 40 ms}",
            "settle: 40 ms is finer than the looks at slow.warmth, one every 50 ms",
        ),
    ],
)
def test_a_response_needs_what_it_is_measured_against(rack, tmp_path, expectation, what):
    found = plan_mistakes(rack, tmp_path, f"- expect: [{expectation}]")

    assert any(what in one for one in found), found


OTHERS = "{signal: others, unchanged: yes, during: 600 ms}"


def test_others_are_what_the_step_does_not_name(rack, tmp_path):
    body = (
        "- stimulus: {probe.angle: 30 deg}\n  expect:\n"
        f"    - {OTHERS}\n    - {{signal: slow.tally, value: 3 count, within: 1 s}}"
    )
    (one,) = measures(rack, tmp_path, body)

    assert isinstance(one.measure, Stillness)
    assert one.measure.moved == ("probe.position",)
    assert set(one.measure.watched) == {
        *("probe.pressure", "probe.lamp", "probe.caption", "probe.air", "probe.share"),
        "slow.warmth",
    }


def test_what_the_bench_declares_dependent_may_move_too(tmp_path):
    text = BENCH + "depends:\n  probe.lamp: [probe.position]\n  slow.tally: [probe.lamp]\n"
    rack = bench(tmp_path, text)
    (one,) = measures(rack, tmp_path, f"- stimulus: {{probe.angle: 30 deg}}\n  expect: [{OTHERS}]")

    assert not {"probe.lamp", "slow.tally"} & set(one.measure.watched)
    assert "slow.warmth" in one.measure.watched


@pytest.mark.parametrize(
    ("entry", "what"),
    [
        ("{signal: others, value: red, during: 1 s}", "`value` does not go with `signal: others`"),
        ("{signal: others, unchanged: yes, within: 1 s}", "`within` does not go with"),
        ("{signal: others, unchanged: yes, tolerance: 1 deg, during: 1 s}", "`tolerance` does not"),
        ("{signal: [others], unchanged: yes, during: 1 s}", "`others` is not a signal"),
    ],
)
def test_others_take_no_other_words(rack, tmp_path, entry, what):
    found = plan_mistakes(rack, tmp_path, f"- expect: [{entry}]")

    assert any(what in one for one in found), found


@pytest.mark.parametrize(
    ("entry", "what"),
    [
        ("{probe.lamb: [probe.angle]}", "there is no signal `probe.lamb` on this bench"),
        ("{probe.lamp: [probe.lamp]}", "depends: `probe.lamp` depends on itself"),
        ("{probe.lamp: [probe.angle, probe.angle]}", "`probe.angle` stands here twice"),
        ("{probe.lamp: []}", "empty list"),
    ],
)
def test_a_wrong_dependence_is_refused(tmp_path, entry, what):
    found = bench_mistakes(tmp_path, "nodes:\n  probe:", f"depends: {entry}\nnodes:\n  probe:")

    assert any(what in one for one in found), found
