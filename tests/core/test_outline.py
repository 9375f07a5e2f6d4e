"""Conditions and timings as the journal keeps them."""

from decimal import Decimal

import pytest

from hil.core.outline import outline_condition, outline_timing
from hil.core.plan import Invalid, Limits, Not, OneOf, Timing, Unchanged

LIMITS = Limits(low=Decimal("43.50"), high=Decimal("46.5"), target=Decimal(45))
CONDITIONS = [
    (LIMITS, ("between", "43.50", "46.5", "45")),
    (Limits(low=None, high=Decimal("1E+2")), ("between", "", "100", "")),
    (OneOf(values=("red", Decimal("0.50"))), ("one of", "red", "0.50")),
    (Not(condition=LIMITS), ("not between", "43.50", "46.5")),
    (Not(condition=OneOf(values=("red",))), ("not one of", "red")),
    (Invalid(), ("invalid",)),
    (Unchanged(tolerance=Decimal(1)), ()),
]
TIMINGS = [
    (
        Timing(within=600, hold=100, not_before=0),
        (("within", 600), ("hold", 100), ("not before", 0)),
    ),
    (Timing(during=(0, 400)), (("from", 0), ("to", 400))),
    (Timing(never=300), (("never", 300),)),
]


@pytest.mark.parametrize(("condition", "shown"), CONDITIONS)
def test_a_condition_is_kept_with_its_numbers(condition, shown):
    assert shown == outline_condition(condition)


@pytest.mark.parametrize(("timing", "shown"), TIMINGS)
def test_a_timing_is_kept_by_the_names_of_its_times(timing, shown):
    assert shown == outline_timing(timing)
