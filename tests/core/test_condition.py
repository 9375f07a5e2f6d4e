"""Grades, margins and misses, on paper."""

from decimal import Decimal

import pytest
from core.paper import limits, number, sample

from hil.core.condition import Grade, grader, how_far_off, show_got, value_margin
from hil.core.plan import Invalid, Not, OneOf

GAUGE = number(low=Decimal(0), high=Decimal(10))


@pytest.mark.parametrize(
    ("condition", "value", "grade"),
    [
        (limits("1", "2"), "1", Grade.GOOD),
        (limits("1", "2"), "2", Grade.GOOD),
        (limits("1", "2", low_inclusive=False), "1", Grade.BAD),
        (limits("1", "2", low_inclusive=False), "2", Grade.GOOD),
        (limits("1", "2", high_inclusive=False), "2", Grade.BAD),
        (limits("1", "2", high_inclusive=False), "1", Grade.GOOD),
        (limits("1", "2", high_inclusive=False), "0.9", Grade.BAD),
        (limits("1", None), "1", Grade.GOOD),
        (limits("1", None), "0.9", Grade.BAD),
        (limits("1", None, low_inclusive=False), "1", Grade.BAD),
        (limits(None, "2"), "2", Grade.GOOD),
        (limits(None, "2"), "2.1", Grade.BAD),
        (limits(None, "2", high_inclusive=False), "2", Grade.BAD),
        (limits("1", "2"), None, Grade.FAULT),
        (limits("1", "2"), "stale", Grade.UNKNOWN),
        (OneOf(values=("red", "green")), "red", Grade.GOOD),
        (OneOf(values=("red", "green")), "off", Grade.BAD),
        (OneOf(values=(Decimal("1.0"),)), "1.00", Grade.GOOD),
        (Not(condition=OneOf(values=("red",))), "red", Grade.BAD),
        (Not(condition=OneOf(values=("red",))), "green", Grade.GOOD),
        (Not(condition=limits("1", "2")), "3", Grade.GOOD),
        (Not(condition=limits("1", "2")), None, Grade.FAULT),
        (Invalid(), None, Grade.GOOD),
        (Invalid(), "1", Grade.BAD),
        (Invalid(), "stale", Grade.UNKNOWN),
    ],
)
def test_a_sample_is_graded(condition, value, grade):
    assert grade is grader(condition)(sample(0, value))


@pytest.mark.parametrize(
    ("condition", "value", "margin"),
    [
        (limits("4", "6"), "5", 1.0),
        (limits("4", "6"), "6", 0.0),
        (limits("4", "6"), "6.5", -0.5),
        (limits("2", None), "2", 0.0),
        (limits("2", None), "10", 1.0),
        (limits("2", None), "0", -0.25),
        (limits(None, "8"), "0", 1.0),
        (limits(None, "8"), "10", -0.25),
        (limits("5", "5"), "5", None),
        (limits("11", None), "5", None),
        (limits(None, "-1"), "5", None),
    ],
)
def test_a_margin_is_a_fraction_of_the_window(condition, value, margin):
    assert margin == value_margin(condition, Decimal(value), GAUGE)


def test_an_open_end_without_a_range_has_no_margin():
    assert value_margin(limits("2", None), Decimal(5), number()) is None
    assert value_margin(limits(None, "2"), Decimal(1), number()) is None
    assert value_margin(OneOf(values=("red",)), "red", GAUGE) is None


@pytest.mark.parametrize(
    ("condition", "value", "text"),
    [
        (limits("4", "6"), "3.98", "0.02 bar too low"),
        (limits("4", "6"), "6.5", "0.5 bar too high"),
        (limits("4", "6"), "5", ""),
        (limits("4", None), "3", "1 bar too low"),
        (limits(None, "4"), "5", "1 bar too high"),
        (limits(None, "4"), "3", ""),
        (limits("4", None, low_inclusive=False), "4", "exactly on the limit, which does not count"),
        (limits("4", "6"), "6", ""),
        (OneOf(values=("red",)), "off", ""),
    ],
)
def test_a_miss_says_by_how_much(condition, value, text):
    assert text == how_far_off(condition, sample(0, value), GAUGE)


def test_what_was_got_is_shown_with_its_unit_or_its_reason():
    fault = sample(0, None)
    fault.note = "sentinel 0x7fff"

    assert show_got(sample(0, "4.80"), GAUGE) == "4.80 bar"
    assert show_got(fault, GAUGE) == "sensor fault (sentinel 0x7fff)"
    assert show_got(sample(0, "stale"), GAUGE) == "stale"
    assert show_got(None, GAUGE) == "nothing"
