"""`ask` in plans and `operator` in bench files: what is read, what is refused, with its place."""

from decimal import Decimal

import pytest
from files.probes import BENCH, bench, bench_mistakes, cases, mistakes, plan_text

from hil.core.plan import Not, OneOf
from hil.files.read import read_plans_with_warnings

OPERATOR = """\
operator:
  acts:
    Press the probe: {probe.pressure: 6 bar, probe.lamp: "on"}
  looks:
    is the lamp red?: {probe.lamp: red}
    is all well?: [{signal: probe.pressure, above: 1 bar}, {signal: probe.lamp, value: red}]
"""


@pytest.fixture(scope="module")
def attended(tmp_path_factory):
    return bench(tmp_path_factory.mktemp("bench"), BENCH + OPERATOR)


def step(tmp_path, rack, text):
    return cases(tmp_path, rack, plan_text(text))[0].steps[0]


def test_an_action_is_read_with_its_words_and_its_time(tmp_path, rack):
    text = """\
- ask: {act: press the probe, within: 30 s}
  expect: [{signal: probe.pressure, above: 5 bar, within: 1 s}]
"""
    ask = step(tmp_path, rack, text).ask

    assert (ask.act, ask.text, ask.within, ask.by) == (True, "press the probe", 30 * 10**9, "")
    assert str(ask.mark).endswith("plan.yaml:5:14")


@pytest.mark.parametrize(("more", "wanted"), [("", "yes"), (", answer: no", "no")])
def test_a_look_is_read_with_the_answer_that_passes(tmp_path, rack, more, wanted):
    ask = step(tmp_path, rack, f"- ask: {{look: is it red?, within: 1 min{more}}}").ask

    assert (ask.act, ask.wanted, ask.within) == (False, wanted, 60 * 10**9)


def test_a_bench_acts_instead_by_the_words_of_the_plan(tmp_path, attended):
    text = """\
- ask: {act: press  the PROBE, within: 30 s}
  expect: [{signal: probe.pressure, above: 5 bar, within: 1 s}]
"""
    one = step(tmp_path, attended, text)

    assert one.ask.by == "probe.pressure 6 bar, probe.lamp on"
    assert [(each.signal, each.value) for each in one.stimuli] == [
        ("probe.pressure", Decimal(6)),
        ("probe.lamp", "on"),
    ]


def test_a_bench_looks_instead_no_longer_than_a_person(tmp_path, attended):
    yes = step(tmp_path, attended, "- ask: {look: is the lamp red?, within: 1 s}")
    no = step(tmp_path, attended, "- ask: {look: is the lamp red?, answer: no, within: 9 s}")

    assert [one.condition for one in yes.expectations] == [OneOf(values=("red",))]
    assert [one.condition for one in no.expectations] == [Not(condition=OneOf(values=("red",)))]
    assert [one.expectations[0].timing.within for one in (yes, no)] == [10**9, 3 * 10**9]
    assert no.expectations[0].wanted == "anything but red"


def test_what_the_bench_does_not_know_is_asked_of_a_person_with_a_warning(tmp_path, attended):
    file = tmp_path / "plan.yaml"
    file.write_text(plan_text("- ask: {look: is the lamp rad?, within: 1 s}"))
    reading = read_plans_with_warnings([str(file)], attended)
    (warning,) = reading.warnings

    assert reading.plans[0].cases[0].steps[0].ask.by == ""
    assert str(warning).splitlines() == [
        f"{file}:5:14: warning: the operator of this bench has no look `is the lamp rad?`, so a "
        "person is asked",
        "    try: is the lamp red?",
    ]


EXPECT = "expect: [{signal: probe.lamp, value: red, within: 1 s}]"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (
            f"- ask: {{act: press it}}\n  {EXPECT}",
            ["5:14: an ask lacks the key `within`: how long there is for an answer"],
        ),
        (
            "- ask: {within: 3 s, answer: no}",
            [
                "5:14: an ask needs one of `act` or `look`",
                "5:28: `answer` goes only with `look`",
                "3:11: this case expects nothing, so it proves nothing | try: give a step an "
                "`expect`",
            ],
        ),
        (
            "- ask: {act: a, look: b, within: 0 s}",
            [
                "5:23: an ask has `act` and `look`, expected exactly one of them | try: one of "
                "act, look",
                "5:40: within: expected more than 0 s, nobody is that fast",
            ],
        ),
        (
            f"- ask: {{look: is it red?, within: 3 s}}\n  {EXPECT}",
            [
                "6:17: a step that asks for a look has no `expect`: the answer is what is judged "
                "| try: put it into the step before"
            ],
        ),
        (
            f"- ask: {{act: press it, within: 3 s}}\n  stimulus: {{probe.lamp: red}}\n  {EXPECT}",
            [
                "6:19: a step that asks for an action has no `stimulus`: the action is one | try: "
                "put it into a step of its own"
            ],
        ),
        (
            "- ask: {act: press it, within: 3 s}\n"
            "  expect: [{signal: probe.lamp, value: red, not-before: 1 s, within: 2 s}]",
            [
                "6:51: `not-before` does not go with an action: nobody knows when exactly it was "
                "done | try: within, hold, during or never"
            ],
        ),
        (
            "- ask: {look: is it red?, within: 3 s, answer: maybe}",
            ["5:54: answer: expected `yes` or `no`, got `maybe`"],
        ),
    ],
)
def test_every_mistake_of_an_ask_is_told_with_its_place(tmp_path, rack, text, wanted):
    found = mistakes(tmp_path, rack, plan_text(text))

    assert sorted(found) == sorted(wanted)


def test_a_person_is_not_asked_over_and_over(tmp_path, rack):
    text = plan_text("- ask: {look: is it red?, within: 3 s}").replace(
        "    steps", "    trials: 60\n    at-least: 95 %\n    steps"
    )

    assert [each for each in mistakes(tmp_path, rack, text) if "over and over" in each] == [
        "7:9: a person is not asked over and over: `ask` does not go with `trials`"
    ]


def test_a_bench_that_looks_for_many_things_cannot_say_no(tmp_path, attended):
    text = plan_text("- ask: {look: is all well?, answer: no, within: 3 s}")
    (found,) = mistakes(tmp_path, attended, text)

    assert found.startswith("5:14: the bench looks for more than one thing here")


def test_an_action_alone_proves_nothing(tmp_path, rack):
    (found,) = mistakes(tmp_path, rack, plan_text("- ask: {act: press it, within: 3 s}"))

    assert "this case expects nothing" in found


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (
            "operator: {acts: {press: {probe.presure: 1 bar}}}",
            "there is no signal `probe.presure` on this bench | try: probe.pressure",
        ),
        (
            "operator: {acts: {press: {probe.pressure: 11 bar}}}",
            "probe.pressure: 11 bar is outside the range of probe.pressure",
        ),
        (
            "operator: {acts: {press: {probe.position: 1 deg}}}",
            "probe.position cannot be driven | try: probe.angle",
        ),
        (
            "operator: {looks: {is it?: {probe.lamp: blue}}}",
            "value: probe.lamp has no label `blue`",
        ),
        ("operator: {looks: {is it?: red}}", "is it?: expected signals with values, got `red`"),
        (
            "operator: {acts: {press: {probe.lamp: red}, Press: {probe.lamp: red}}}",
            "operator: `Press` stands here twice",
        ),
        ("operator: {act: {}}", "an operator has no key `act`"),
    ],
)
def test_what_is_wrong_with_an_operator_is_told(tmp_path, text, wanted):
    found = bench_mistakes(tmp_path, BENCH[-20:], BENCH[-20:] + text + "\n")

    assert any(wanted in each for each in found), found
