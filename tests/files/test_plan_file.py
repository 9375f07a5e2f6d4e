"""Plan files: what they become, and what is refused in them."""

import gc
from decimal import Decimal

import pytest
from files.probes import cases, expecting, mistakes, plan_text

from hil.core.error import DescriptionError, Mark
from hil.core.instant import MILLISECOND, SECOND
from hil.core.plan import Limits, OneOf, Timing
from hil.files.read import read_plans, read_plans_with_warnings

WHOLE = """\
plan: Probing
cases:
  - case: pressure reaches the lamp
    requirement: [FP-01, FP-02]
    tags: show
    precondition: {probe.lamp: off}
    steps:
      - wait: 20 ms
        stimulus: {probe.pressure: 480 kPa}
        expect:
          - {signal: [probe.lamp], value: red, within: 150 ms, hold: 500 ms}
    restore: no
    reboots: [slow]
    skip: the lamp is at the shop
"""


def test_case_is_what_the_file_says(tmp_path, rack):
    (case,) = cases(tmp_path, rack, WHOLE)

    assert (case.plan, case.title, case.variation) == ("Probing", "pressure reaches the lamp", "")
    assert case.requirements == ("FP-01", "FP-02")
    assert case.tags == ("show",)
    assert not case.restore
    assert case.reboots == ("slow",)
    assert case.skip == "the lamp is at the shop"
    assert case.mark == Mark(str(tmp_path / "plan.yaml"), 3, 5)


def test_step_is_what_the_file_says(tmp_path, rack):
    (step,) = cases(tmp_path, rack, WHOLE)[0].steps
    (stimulus,) = step.stimuli
    (expectation,) = step.expectations

    assert step.wait == 20 * MILLISECOND
    assert (stimulus.signal, stimulus.value) == ("probe.pressure", Decimal("4.8"))
    assert (stimulus.mark.line, stimulus.mark.column) == (9, 20)
    assert expectation.signals == ("probe.lamp",)
    assert expectation.condition == OneOf(values=("red",))
    assert expectation.timing == Timing(within=150 * MILLISECOND, hold=500 * MILLISECOND)
    assert (expectation.wanted, expectation.when) == ("red", "within 150 ms, holding 500 ms")
    assert (expectation.mark.line, expectation.mark.column) == (11, 13)


def test_precondition_waits_three_seconds_unless_it_says(tmp_path, rack):
    listed = WHOLE.replace(
        "{probe.lamp: off}",
        "[{signal: probe.lamp, value: off}, {signal: probe.position, above: 3 deg, within: 9 s}]",
    )
    plain = cases(tmp_path, rack, WHOLE)[0].precondition
    first, second = cases(tmp_path, rack, listed)[0].precondition

    assert plain[0].timing == first.timing == Timing(within=3 * SECOND)
    assert second.condition == Limits(low=Decimal(3), high=None)
    assert second.timing == Timing(within=9 * SECOND)


@pytest.mark.parametrize(
    ("stimulus", "expected"),
    [
        ("{probe.angle: 45}", "5:27: probe.angle: `45` has no unit | try: 45 deg"),  # degrees or radians? nobody can tell
        ("{probe.angle: 180 rad}", "5:27: probe.angle: 10313.24 deg is outside the range of probe.angle, -90 deg to 90 deg"),  # degrees typed where radians are meant
        ("{probe.pressure: 4,8 bar}", "5:30: probe.pressure: `4,8 bar` has a decimal comma, expected a point | try: 4.8 bar"),  # a decimal comma, as half of Europe writes
        ("{probe.pressure: 4.805 bar}", "5:30: probe.pressure: 4.805 bar falls between two counts of probe.pressure, 4.80 bar and 4.81 bar | try: 4.80 bar or 4.81 bar"),
        ("{probe.position: 1 deg}", "5:14: probe.position cannot be driven | try: probe.angle"),
        ("{probe.presure: 1 bar}", "5:14: there is no signal `probe.presure` on this bench | try: probe.pressure"),
        ("{prob.lamp: on}", "5:14: there is no signal `prob.lamp` on this bench | try: probe.lamp"),
        ("{lamp: on}", "5:14: `lamp` is not a signal of this bench, expected `node.signal`"),
        ("{probe.lamp: yes}", "5:26: probe.lamp: probe.lamp has no label `yes`, it has `off`, `on`, `no` and `red`"),  # a switch word is no boolean
        ("{probe.lamp: #d03020\n   }", "5:25: probe.lamp: has no value, because `#d03020` after a blank is a comment | try: quote the colour or text: \"#d03020\""),  # a colour that is a comment
        ("{probe.lamp: [on]}", "5:26: probe.lamp: expected a value, got a list"),
        ("3 bar", "5:13: expected signals with their values, got `3 bar`"),
    ],
)  # fmt: skip
def test_stimulus_is_refused(tmp_path, rack, stimulus, expected):
    body = f"- stimulus: {stimulus}\n  expect: [{{signal: probe.lamp, value: on, within: 1 s}}]"
    said = mistakes(tmp_path, rack, plan_text(body))

    # the column counts from `      - stimulus: `
    line, column, rest = expected.split(":", 2)
    assert [f"{line}:{int(column) + 6}:{rest}"] == said


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1.57 rad", "90.0"),  # 89.95 deg, to the nearest tenth
        ("-0.1 turn", "-36"),
        ("89.9 deg", "89.9"),
    ],
)
def test_command_in_another_unit_goes_to_the_nearest_count(tmp_path, rack, text, value):
    body = f"- stimulus: {{probe.angle: {text}}}\n  expect: [{{signal: probe.lamp, value: on, within: 1 s}}]"

    (stimulus,) = cases(tmp_path, rack, plan_text(body))[0].steps[0].stimuli
    assert Decimal(value) == stimulus.value


def test_words_of_labels_are_words(tmp_path, rack):
    # `on`, `off` and `no` are labels of this lamp, never booleans
    body = "- stimulus: {probe.lamp: on}\n- stimulus: {probe.lamp: no}\n  expect: [{signal: probe.lamp, not: off, within: 1 s}]"
    steps = cases(tmp_path, rack, plan_text(body))[0].steps

    assert [step.stimuli[0].value for step in steps] == ["on", "no"]
    assert steps[1].expectations[0].wanted == "anything but off"


def test_second_command_with_nothing_between_is_refused(tmp_path, rack):
    first = "- stimulus: {probe.angle: 10 deg}\n"
    second = "- stimulus: {probe.angle: 20 deg}\n  expect: [{signal: probe.position, above: 19 deg, within: 1 s}]"

    (sentence,) = mistakes(tmp_path, rack, plan_text(first + second))
    assert sentence.startswith("6:20: probe.angle is commanded again with nothing between")
    waited = second.replace("- stimulus", "- wait: 10 ms\n  stimulus")
    assert mistakes(tmp_path, rack, plan_text(first + waited)) == []
    assert mistakes(tmp_path, rack, plan_text(second + "\n" + second)) == []


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("requirement:", "requirment:", "4:5: a case has no key `requirment` | try: requirement"),
        ("restore: no", "restore: off", "12:14: restore: expected `yes` or `no`, got `off`"),
        ("reboots: [slow]", "reboots: [slwo]", "13:14: reboots: there is no node `slwo` on this bench | try: slow"),
        ("wait: 20 ms", "wait: 20", "8:15: wait: `20` has no unit | try: 20 ms or 20 s"),
        ("wait: 20 ms", "wait: 0:20", "8:15: wait: `0:20` is a time on a clock, expected a duration | try: 20 s or 0 min 20 s"),
        ("tags: show", "tags: [show, show]", "5:18: tags: `show` stands here twice"),
        ("plan: Probing", "plan: \"\"", "1:7: plan: the text is empty"),
        ("    steps:", "    doings:", "3:5: a case lacks the key `steps`: what is done and expected, in order"),
        ("{probe.lamp: off}", "{probe.lamp: of}", "6:32: value: probe.lamp has no label `of`"),
        ("{probe.lamp: off}", "none", "6:19: precondition: expected signals with values, got `none`"),
        ("{probe.lamp: off}", "[{signal: probe.lamp, unchanged: yes}]", "a precondition has nothing before it to compare with"),
    ],
)  # fmt: skip
def test_mistake_is_named(tmp_path, rack, old, new, expected):
    assert old in WHOLE
    said = mistakes(tmp_path, rack, WHOLE.replace(old, new, 1))

    assert any(expected in sentence for sentence in said), said


def test_case_that_expects_nothing_is_refused(tmp_path, rack):
    (sentence,) = mistakes(tmp_path, rack, plan_text("- stimulus: {probe.lamp: on}"))

    assert "this case expects nothing, so it proves nothing" in sentence


@pytest.mark.parametrize("text", ["plan: P\ncases: []\n", "plan: P\n", "plan: P\ncases:\n"])
def test_plan_without_cases_is_refused(tmp_path, rack, text):
    assert len(mistakes(tmp_path, rack, text)) == 1


def test_same_title_twice_is_refused(tmp_path, rack):
    text = expecting("{signal: probe.lamp, value: on, within: 1 s}")
    twice = text + text.split("cases:\n")[1]

    assert mistakes(tmp_path, rack, twice) == [
        "7:11: the title `one` is taken, by the case in line 3 | try: give each case a title of its own"
    ]


def test_titles_that_differ_in_punctuation_stay_apart(tmp_path, rack):
    # two names that differ in punctuation must not become one result
    text = expecting("{signal: probe.lamp, value: on, within: 1 s}")
    twice = text.replace("one", "A(.)") + text.split("cases:\n")[1].replace("one", "A( )")

    assert [case.title for case in cases(tmp_path, rack, twice)] == ["A(.)", "A( )"]


def test_mistakes_of_all_files_come_at_once_and_in_order(tmp_path, rack):
    (tmp_path / "b.yaml").write_text("plan: B\ncases: []\nmore: 1\n", encoding="utf-8")
    (tmp_path / "a.yaml").write_text("plan: A\n\tcases: []\n", encoding="utf-8")
    files = [tmp_path / "b.yaml", tmp_path / "a.yaml", tmp_path / "none.yaml"]

    with pytest.raises(DescriptionError) as caught:
        read_plans(files, rack)

    names = [mistake.mark.file.rsplit("/", 1)[1] for mistake in caught.value.mistakes]
    assert names == ["a.yaml", "b.yaml", "b.yaml", "none.yaml"]


@pytest.mark.parametrize("collects", [True, False])
def test_garbage_collection_is_as_before(tmp_path, rack, collects):
    was = gc.isenabled()
    (gc.enable if collects else gc.disable)()
    try:
        mistakes(tmp_path, rack, "plan: P\ncases: []\n")
        after_refusal = gc.isenabled()
        cases(tmp_path, rack, WHOLE)
        after_reading = gc.isenabled()
    finally:
        (gc.enable if was else gc.disable)()

    assert (collects, collects) == (after_refusal, after_reading)


def test_two_plans_with_one_title_are_refused(tmp_path, rack):
    text = expecting("{signal: probe.lamp, value: on, within: 1 s}")
    files = [tmp_path / "a.yaml", tmp_path / "b.yaml"]
    for file in files:
        file.write_text(text, encoding="utf-8")

    with pytest.raises(DescriptionError, match="has the title of"):
        read_plans(files, rack)


def test_warning_does_not_stop_a_plan(tmp_path, rack):
    file = tmp_path / "plan.yaml"
    file.write_text(expecting("{signal: slow.tally, not: 3, during: 20 ms}"), encoding="utf-8")

    reading = read_plans_with_warnings([file], rack)
    (warning,) = reading.warnings
    assert len(reading.plans) == 1
    assert warning.warning
    assert "20 ms is finer than the looks at slow.tally, one every 50 ms" in warning.what


def test_a_deadline_finer_than_the_looks_is_refused(tmp_path, rack):
    (found,) = mistakes(tmp_path, rack, expecting("{signal: slow.tally, value: 3, within: 20 ms}"))

    assert found.startswith("6:52: within: 20 ms is finer than the looks at slow.tally")
    assert found.endswith("| try: at least 50 ms, or look more often")
