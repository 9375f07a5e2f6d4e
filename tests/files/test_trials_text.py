"""Trials and traffic: read, and refused where so many trials cannot show it."""

from decimal import Decimal
from pathlib import Path

import pytest
from files.probes import cases, mistakes, plan_text

from hil.files.read import read_rack
from hil.measure.repeating import Repeating
from hil.measure.traffic import Metric
from hil.measure.trial_statement import AtLeast, Percentile

EXPECT = "{signal: probe.lamp, value: red, within: 100 ms}"


def step(more, expect=EXPECT):
    return plan_text(f"- {more}\n  stimulus: {{probe.pressure: 3 bar}}\n  expect: [{expect}]")


def whole(more):
    """Return a plan whose trials stand on the case."""
    return (
        f"plan: P\ncases:\n  - case: one\n    precondition: {{probe.lamp: off}}\n    {more}\n"
        f"    steps:\n      - stimulus: {{probe.pressure: 3 bar}}\n        expect: [{EXPECT}]\n"
    )


def job(tmp_path, rack, text):
    (case,) = cases(tmp_path, rack, text)
    assert isinstance(case.steps[0].job, Repeating)
    return case, case.steps[0].job


def test_trials_of_a_step_are_a_job(rack, tmp_path):
    text = step("trials: 299\n  at-least: 99 %\n  latency: {percentile: 95 %, below: 80 ms}")
    case, found = job(tmp_path, rack, text)

    assert found.count == 299
    assert found.wanted == (
        AtLeast(share=Decimal("0.99"), confidence=Decimal("0.95")),
        Percentile(share=Decimal("0.95"), confidence=Decimal("0.95"), below=80_000_000),
    )
    assert case.steps[0].expectations == () and len(found.case.steps[0].expectations) == 1
    assert found.drives == ("probe.pressure",)


def test_trials_of_a_case_take_its_precondition_along(rack, tmp_path):
    text = whole("trials: 50\n    at-least: 90 %\n    confidence: 99 %")
    case, found = job(tmp_path, rack, text)

    assert case.precondition == () and len(found.case.precondition) == 1
    assert found.wanted[0].confidence == Decimal("0.99")


@pytest.mark.parametrize(
    ("more", "what"),
    [
        ("at-least: 99 %", "`at-least` goes only with `trials`"),
        ("trials: 1\n  at-least: 10 %", "trials: expected 2 to"),
        ("trials: 10", "trials: nothing is said about all of them | try: at-least: 99 %"),
        ("trials: 300\n  at-least: 100 %", "at-least: `100 %` is not above 0 % and below 100 %"),
        ("trials: 300\n  at-least: 99", "at-least: `99` is not above 0 % and below 100 %"),
        # 0.99^298 = 0.0500..., 0.99^299 = 0.0495 (success run)
        (
            "trials: 298\n  at-least: 99 %",
            "298 trials cannot show 99 % with 95 % confidence, not even without a failure"
            " | try: trials: 299, or at-least: 98.99 %",
        ),
        (
            "trials: 10\n  latency: {percentile: 95 %, below: 80 ms}",
            "percentile: 10 trials cannot show 95 % with 95 % confidence",
        ),
        (
            "trials: 300\n  latency: {percentile: 95 %}",
            "a statement about the latency lacks the key `below`",
        ),
    ],
)
def test_what_the_trials_cannot_show_is_refused(rack, tmp_path, more, what):
    found = mistakes(tmp_path, rack, step(more))

    assert any(what in one for one in found), found


def test_trials_within_trials_are_refused(rack, tmp_path):
    text = whole("trials: 50\n    at-least: 90 %").replace(
        "- stimulus", "- trials: 50\n        at-least: 90 %\n        stimulus"
    )

    assert any("the case has trials already" in one for one in mistakes(tmp_path, rack, text))


def test_a_latency_needs_something_that_takes_time(rack, tmp_path):
    text = step(
        "trials: 300\n  latency: {percentile: 95 %, below: 80 ms}",
        "{signal: probe.lamp, value: red, never: 1 s}",
    )

    assert any("no step has a `within`" in one for one in mistakes(tmp_path, rack, text))


def test_a_latency_finer_than_the_looks_is_refused(rack, tmp_path):
    text = step(
        "trials: 300\n  latency: {percentile: 95 %, below: 40 ms}",
        "{signal: slow.tally, value: 3 count, within: 1 s}",
    )

    (found,) = mistakes(tmp_path, rack, text)
    assert "below: 40 ms is finer than the looks at slow.tally, one every 50 ms" in found


def test_traffic_needs_numbers_and_stamps(rack, tmp_path):
    text = plan_text("- expect: [{traffic: probe, during: 1 s, loss: 0 %, jitter: 2 ms}]")
    found = mistakes(tmp_path, rack, text)

    assert "loss: the readings of probe carry no `sequence`" in found[0]
    assert "jitter: the readings of probe carry no `sequence`" in found[1]


@pytest.mark.parametrize(
    ("entry", "what"),
    [
        (
            "{traffic: prob, during: 1 s, loss: 0 %}",
            "there is no node `prob` on this bench | try: probe",
        ),
        ("{traffic: probe, during: 1 s}", "expected one or more of `loss`"),
        ("{traffic: probe, loss: 0 %}", "lacks the key `during`"),
        ("{traffic: probe, during: 1 s, loss: 5 ms}", "loss: `5 ms`"),
        ("{traffic: probe, during: 1 s, jitter: 5 %}", "jitter: `5 %`"),
    ],
)
def test_odd_traffic_is_refused(rack, tmp_path, entry, what):
    found = mistakes(tmp_path, rack, plan_text(f"- expect: [{entry}]"))

    assert any(what in one for one in found), found


def test_traffic_is_an_expectation_for_each_figure(tmp_path):
    rack = read_rack(Path(__file__).parents[2] / "fixtures" / "glasshouse.yaml")
    text = plan_text("- expect: [{traffic: mast, during: 3 s, loss: 0 %, jitter: 10 ms}]")
    (case,) = cases(tmp_path, rack, text)
    found = case.steps[0].expectations

    assert [one.measure.metric for one in found] == [Metric.LOSS, Metric.JITTER]
    assert [one.measure.window for one in found] == [3_000_000_000] * 2
