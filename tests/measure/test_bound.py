"""A limit and an interval: all inside, all outside, or across."""

from decimal import Decimal

import pytest

from hil.core.verdict import Outcome
from hil.measure.bound import Bound

PASS, FAIL, DOUBT = Outcome.PASS, Outcome.FAIL, Outcome.INCONCLUSIVE


def bound(low, high):
    ends = [None if end is None else Decimal(end) for end in (low, high)]
    return Bound(low=ends[0], high=ends[1], words="")


@pytest.mark.parametrize(
    ("low", "high", "first", "last", "outcome", "margin"),
    [
        (None, 300, 100, 150, PASS, 0.5),
        (None, 300, 290, 300, PASS, 0.0),
        (None, 300, 290, 301, DOUBT, None),
        (None, 300, 301, 310, FAIL, -1 / 300),
        (None, 300, 330, float("inf"), FAIL, -0.1),
        (None, 300, 200, float("inf"), DOUBT, None),
        (200, None, 250, 280, PASS, 0.25),
        (200, None, 150, 180, FAIL, -0.1),
        (200, None, 190, 210, DOUBT, None),
        (20, 40, 30, 30, PASS, 1.0),
        (20, 40, 20, 40, PASS, 0.0),
        (20, 40, 45, 50, FAIL, -0.5),
        (20, 40, 5, 15, FAIL, -0.5),
    ],
)
def test_an_interval_is_judged_whole(low, high, first, last, outcome, margin):
    limit = bound(low, high)

    assert limit.judge(first, last) is outcome
    assert limit.margin(first, last) == (None if margin is None else pytest.approx(margin))
