"""What an expectation says, and what it cannot say."""

from decimal import Decimal

import pytest
from files.probes import cases, expectation, expecting, mistakes, plan_text

from hil.core.plan import Invalid, Limits, Not, OneOf, Timing, Unchanged

MS = 1_000_000


def limits(low, high, target=None, inclusive=True):
    return Limits(
        low=None if low is None else Decimal(low),
        high=None if high is None else Decimal(high),
        low_inclusive=inclusive,
        high_inclusive=inclusive,
        target=None if target is None else Decimal(target),
    )


@pytest.mark.parametrize(
    ("text", "condition", "wanted"),
    [
        ("signal: probe.lamp, value: red", OneOf(values=("red",)), "red"),
        ("signal: probe.lamp, one-of: [on, red]", OneOf(values=("on", "red")), "on or red"),
        ("signal: probe.lamp, not: red", Not(condition=OneOf(values=("red",))), "anything but red"),
        ("signal: probe.lamp, not: [on, red]", Not(condition=OneOf(values=("on", "red"))), "anything but on or red"),
        ("signal: probe.caption, value: OPEN", OneOf(values=("OPEN",)), "OPEN"),
        ("signal: probe.pressure, value: 4.8 bar, tolerance: 0.05 bar", limits("4.75", "4.85", "4.8"), "4.80 bar ± 0.05 bar"),
        ("signal: probe.pressure, value: 4.8 bar, tolerance: 50 mbar", limits("4.75", "4.85", "4.8"), "4.80 bar ± 0.05 bar"),
        ("signal: probe.pressure, value: 5 bar, tolerance: 2 % of value", limits("4.9", "5.1", "5"), "5.00 bar ± 0.10 bar (2 % of value)"),
        ("signal: slow.warmth, value: 68 °F, tolerance: 9 °F", limits("15", "25", "20"), "20 degC ± 5 degC"),
        ("signal: probe.pressure, value: 5 bar, tolerance: {larger-of: [1 % of value, 0.1 bar]}", limits("4.9", "5.1", "5"), "5.0 bar ± 0.1 bar (the larger of 1 % of value and 0.1 bar)"),  # a share of a small value is less than the sensor can tell
        ("signal: probe.pressure, value: 5 bar, tolerance: 0.1 bar, edges: exclusive", Limits(low=Decimal("4.9"), high=Decimal("5.1"), low_inclusive=False, high_inclusive=False, target=Decimal(5)), "5.0 bar ± 0.1 bar, limits excluded"),
        ("signal: probe.pressure, value: 4.80 bar", OneOf(values=(Decimal("4.8"),)), "4.80 bar"),
        ("signal: probe.pressure, between: 1 bar to 2 bar", limits("1", "2"), "1 bar to 2 bar"),
        ("signal: probe.pressure, between: 1 bar to 2 bar, edges: exclusive", limits("1", "2", inclusive=False), "above 1 bar and below 2 bar"),
        ("signal: probe.pressure, above: 4 bar", limits("4", None), "at least 4 bar"),
        ("signal: probe.pressure, below: 4 bar, edges: exclusive", Limits(low=None, high=Decimal(4), high_inclusive=False), "below 4 bar"),
        ("signal: probe.pressure, not: {between: 1 bar to 2 bar}", Not(condition=limits("1", "2")), "anything but 1 bar to 2 bar"),
        ("signal: probe.pressure, invalid: yes", Invalid(), "a sensor fault"),
        ("signal: probe.position, value: 0 deg, tolerance: 0.1 deg", limits("-0.1", "0.1", "0"), "0.0 deg ± 0.1 deg"),  # around zero only an absolute tolerance is one
        ("signal: slow.tally, value: 3", OneOf(values=(Decimal(3),)), "3 count"),
        ("signal: probe.share, value: 45 %", OneOf(values=(Decimal("0.45"),)), "0.45 fraction"),
    ],
)  # fmt: skip
def test_condition_is_what_was_written(tmp_path, rack, text, condition, wanted):
    found = expectation(tmp_path, rack, f"{{{text}, within: 1 s}}")

    assert condition == found.condition
    assert wanted == found.wanted


@pytest.mark.parametrize(
    ("text", "condition", "wanted"),
    [
        ("probe.lamp, unchanged: yes", Unchanged(), "unchanged"),
        ("probe.pressure, unchanged: yes, tolerance: 0.02 bar", Unchanged(tolerance=Decimal("0.02")), "unchanged ± 0.02 bar"),
    ],
)  # fmt: skip
def test_unchanged_is_what_was_written(tmp_path, rack, text, condition, wanted):
    found = expectation(tmp_path, rack, f"{{signal: {text}, during: 600 ms}}")

    assert (condition, wanted) == (found.condition, found.wanted)


@pytest.mark.parametrize(
    ("text", "timing", "when"),
    [
        ("within: 150 ms", Timing(within=150 * MS), "within 150 ms"),
        ("within: 150 ms, hold: 500 ms", Timing(within=150 * MS, hold=500 * MS), "within 150 ms, holding 500 ms"),
        ("within: 150 ms, not-before: 20 ms", Timing(within=150 * MS, not_before=20 * MS), "within 150 ms, not before 20 ms"),
        ("during: 600 ms", Timing(during=(0, 600 * MS)), "throughout 600 ms"),
        ("during: 100 ms to 600 ms", Timing(during=(100 * MS, 600 * MS)), "throughout 100 ms to 600 ms"),
        ("never: 2 s", Timing(never=2000 * MS), "never within 2 s"),
        ("within: 1 min 30 s", Timing(within=90_000 * MS), "within 90 s"),
    ],
)  # fmt: skip
def test_timing_is_what_was_written(tmp_path, rack, text, timing, when):
    found = expectation(tmp_path, rack, f"{{signal: probe.lamp, value: red, {text}}}")

    assert (timing, when) == (found.timing, found.when)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("signal: probe.lamp, value: red", "an expectation needs one of `within`, `during` or `never`"),
        ("signal: probe.lamp, value: red, within: 1 s, never: 1 s", "has `within` and `never`, expected exactly one of them"),
        ("signal: probe.lamp, within: 1 s", "an expectation needs one of `value`, `between`"),
        ("signal: probe.lamp, value: red, one-of: [on], within: 1 s", "has `value` and `one-of`, expected exactly one"),
        ("signal: probe.lamp, value: red, hold: 1 s, never: 1 s", "`hold` goes only with `within`"),
        ("signal: probe.lamp, value: red, within: 0 s", "within: expected more than 0 s"),
        ("signal: probe.lamp, value: red, within: 1 s, not-before: 2 s", "not-before: lies after the deadline"),
        ("signal: probe.lamp, value: red, during: 2 s to 1 s", "during: the window must end after it begins"),
        ("signal: probe.lamp, value: red, during: 1 s to 2", "during: `2` has no unit | try: 2 ms or 2 s"),
        ("signal: probe.lamp, value: red, wihtin: 1 s", "an expectation has no key `wihtin` | try: within"),
        ("value: red, within: 1 s", "an expectation lacks the key `signal`"),
        ("signal: [probe.lamp, probe.lamp], value: red, within: 1 s", "`probe.lamp` stands here twice"),
        ("signal: probe.lmap, value: red, within: 1 s", "there is no signal `probe.lmap` on this bench | try: probe.lamp"),
        ("signal: probe.ghost, value: awake, within: 1 s", "probe.ghost is in no reading of its node, so nobody can see it"),
        ("signal: probe.pressure, value: -1 bar, within: 1 s", "-1 bar is outside the range of probe.pressure"),
        ("signal: probe.lamp, above: 3, within: 1 s", "`above` is for numbers, probe.lamp carries a label"),
        ("signal: probe.lamp, value: red, tolerance: 1 %, within: 1 s", "`tolerance` is for numbers"),
        ("signal: probe.lamp, value: rde, within: 1 s", "has no label `rde`, it has `off`, `on`, `no` and `red` | try: red"),
        ("signal: probe.pressure, value: 4.805 bar, within: 1 s", "4.805 bar falls between two counts of probe.pressure, 4.80 bar and 4.81 bar | try: 4.80 bar or 4.81 bar, or give a tolerance"),
        ("signal: probe.pressure, value: 12 bar, within: 1 s", "12 bar is outside the range of probe.pressure, 0 bar to 10 bar"),
        ("signal: probe.pressure, value: 5 bar, tolerance: 1 %, within: 1 s", "`1 %` does not say of what | try: 1 % of value, or a tolerance in bar"),
        ("signal: probe.position, value: 0 deg, tolerance: 1 % of value, within: 1 s", "`1 % of value` of 0 is nothing"),  # a share of zero
        ("signal: probe.pressure, value: 5 bar, tolerance: 0 bar, within: 1 s", "`0 bar` allows nothing | try: leave it out"),
        ("signal: probe.pressure, value: 5 bar, tolerance: -1 bar, within: 1 s", "`-1 bar` allows nothing"),
        ("signal: slow.warmth, value: 20 degC, tolerance: .inf, within: 1 s", "`.inf` is no limit"),  # everything would pass
        ("signal: slow.warmth, between: .nan to 85 degC, within: 1 s", "`.nan` is no limit"),  # nothing is below or above it
        ("signal: slow.warmth, between: -40 degC to .inf, within: 1 s", "try: leave the end open with `above` or `below`"),
        ("signal: slow.warmth, value: 20, within: 1 s", "`20` has no unit | try: 20 degC"),
        ("signal: probe.pressure, value: 5 bar, tolerance: {larger-of: [1 bar]}, within: 1 s", "expected a list of two or more tolerances"),
        ("signal: probe.pressure, between: 2 bar to 1 bar, within: 1 s", "the first end must be below the second"),
        ("signal: probe.lamp, unchanged: yes, within: 1 s", "`unchanged` needs `during`, or `hold`"),
        ("signal: probe.lamp, unchanged: no, during: 1 s", "unchanged: expected `yes` | try: use `not` for the opposite"),
        ("signal: probe.pressure, unchanged: yes, during: 1 s", "wanders by 0.01 bar at rest, so it needs a tolerance | try: tolerance: 0.02 bar"),
        ("signal: probe.pressure, unchanged: yes, tolerance: 1 % of value, during: 1 s", "a share of a value that is not known yet"),
        ("signal: probe.lamp, value: , within: 1 s", "value: has no value, expected a value"),
        ("signal: probe.lamp, one-of: [on, on], within: 1 s", "the same value stands here twice"),
    ],
)  # fmt: skip
def test_expectation_is_refused(tmp_path, rack, text, expected):
    said = mistakes(tmp_path, rack, expecting(f"{{{text}}}"))

    assert any(expected in sentence for sentence in said), said


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("signal: slow.warmth, above: -40 degC, within: 1 s", "this check cannot fail: every value in the range of slow.warmth, -40 to 85 degC, satisfies it"),
        ("signal: slow.warmth, between: -50 degC to 90 degC, during: 1 s", "cannot fail"),
        ("signal: slow.warmth, value: 20 degC, tolerance: 100 degC, within: 1 s", "cannot fail"),
        ("signal: slow.warmth, above: 86 degC, within: 1 s", "this check cannot pass: no value in the range"),
        ("signal: slow.warmth, above: 86 degC, never: 1 s", "cannot fail"),
        ("signal: slow.warmth, not: {above: 86 degC}, within: 1 s", "cannot fail"),
        ("signal: slow.warmth, below: 85 degC, never: 1 s", "cannot pass"),
        ("signal: slow.warmth, unchanged: yes, tolerance: 125 degC, during: 1 s", "cannot fail"),
        ("signal: probe.lamp, one-of: [off, on, no, red], within: 1 s", "this check cannot fail: every label of probe.lamp satisfies it"),
        ("signal: probe.lamp, not: [off, on, no, red], within: 1 s", "cannot pass"),
    ],
)  # fmt: skip
def test_check_that_can_end_one_way_only_is_refused(tmp_path, rack, text, expected):
    # a check that cannot fail proves nothing
    (sentence,) = mistakes(tmp_path, rack, expecting(f"{{{text}}}"))

    assert expected in sentence


def test_check_that_excludes_an_edge_of_the_range_can_fail(tmp_path, rack):
    text = "{signal: slow.warmth, above: -40 degC, edges: exclusive, within: 1 s}"

    assert mistakes(tmp_path, rack, expecting(text)) == []


def test_exact_value_of_a_binary_fraction_is_the_one_on_the_wire(tmp_path, rack):
    # 101.325 is 42 CA A6 66 in 32 bits (IEEE 754), which is 101.32499694824219 to 17 digits
    found = expectation(tmp_path, rack, "{signal: probe.air, value: 101.325 kPa, within: 1 s}")

    (value,) = found.condition.values
    assert str(value).startswith("101.324996948242187")
    assert found.wanted.startswith("101.325 kPa (101.324996948242187")


def test_signals_that_want_different_numbers_are_split(tmp_path, rack):
    text = "{signal: [probe.share, slow.tally], value: 45 %, within: 1 s}"

    assert any("does not fit" in said for said in mistakes(tmp_path, rack, expecting(text)))
    both = "{signal: [probe.angle, probe.position], value: 1 deg, within: 1 s}"
    (found,) = cases(tmp_path, rack, expecting(both))[0].steps[0].expectations
    assert found.signals == ("probe.angle", "probe.position")


@pytest.mark.parametrize(
    "timing",
    ["within: 1 s, hold: 20 ms", "during: 1 s to 1.02 s", "never: 49 ms"],
)
def test_time_finer_than_the_looks_is_a_warning(tmp_path, rack, timing):
    text = expecting(f"{{signal: slow.tally, above: 500, {timing}}}")

    (sentence,) = mistakes(tmp_path, rack, text + "more: 1\n")[:1]
    assert "warning" in sentence
    assert "one every 50 ms, so the verdict may be inconclusive" in sentence


def test_a_list_for_a_time_is_refused_also_after_an_expectation_without_one(tmp_path, rack):
    text = plan_text("- expect: [{signal: probe.lamp, value: red, within: 1 s}]").replace(
        "    steps:",
        "    precondition:\n"
        "      - {signal: probe.lamp, value: red}\n"
        "      - {signal: probe.position, above: 1 deg, within: [5 ms]}\n"
        "    steps:",
    )

    assert mistakes(tmp_path, rack, text) == [
        "6:56: within: expected a duration such as `150 ms`, got a list"
    ]
