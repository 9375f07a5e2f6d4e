"""Targets where the displayed value decides, and where a point is out of reach."""

from decimal import Decimal

import pytest
from alarms.drawing import band, clears_at, only_edge, spec, width

from hil.alarms.grid import Grid
from hil.alarms.indicator import Displayed, Rounding
from hil.alarms.search import Bracket
from hil.alarms.target import range_counts, reset_target, trip_target

HUNDREDTHS = Grid(Decimal(0), Decimal("0.01"))


@pytest.mark.parametrize(
    ("rounding", "wanted"),
    [(Rounding.HALF_AWAY, Bracket(7994, 7995)), (Rounding.HALF_EVEN, Bracket(7994, 7995))],
)
def test_the_displayed_value_moves_the_target_by_half_a_step(rounding, wanted):
    # 79.95 reads 80.0 both ways (half away from zero; 80.0 is the even neighbour)
    described = spec(
        band("green", None, "80", owns="none"),
        band("red", "80", None, dead_band=width("1")),
        high="100",
        displayed_decides=True,
        display=Displayed(decimals=1, rounding=rounding),
    )
    edge = only_edge(described)

    assert wanted == trip_target(described, edge, HUNDREDTHS)
    assert reset_target(described, edge, HUNDREDTHS).last_before == 7905 + (
        rounding is Rounding.HALF_EVEN
    )


def test_half_even_and_half_away_differ_at_an_odd_step():
    targets = []
    for rounding in Rounding:
        described = spec(
            band("green", None, "80.1", owns="none"),
            band("red", "80.1", None),
            high="100",
            displayed_decides=True,
            display=Displayed(decimals=1, rounding=rounding),
        )
        targets.append(trip_target(described, only_edge(described), HUNDREDTHS).first_beyond)

    assert targets == [8005, 8006]


def test_a_point_beyond_the_range_leaves_the_target_open():
    described = spec(
        band("green", None, "20", owns="none"), band("red", "20", None, dead_band=clears_at("-1"))
    )
    edge = only_edge(described)

    assert Bracket(1000, None) == trip_target(described, edge, HUNDREDTHS)
    assert Bracket(0, None) == reset_target(described, edge, HUNDREDTHS)
    assert range(1001) == range_counts(described, HUNDREDTHS)
