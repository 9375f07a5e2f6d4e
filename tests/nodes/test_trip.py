"""Trip points against a published instrument example, and against a table."""

from decimal import Decimal

import pytest

from hil.nodes.trip import TripPoint, Trips

# A panel instrument's manual (alarm dead band example): "on at >= 250, off at <= 240" for a high
# alarm at 250 with a dead band of 10; "on at <= 50, off at >= 60" for a low alarm.
# https://manualshive.com/en/manual/omega/uwbt-series/4162735?page=97
SERIES = [
    (250, True, [249, 250, 245, 241, 240, 245], [False, True, True, True, False, False]),
    (50, False, [51, 50, 55, 59, 60, 55], [False, True, True, True, False, False]),
]


@pytest.mark.parametrize(("level", "rising", "series", "active"), SERIES)
def test_trip_point_follows_the_published_example(
    level: int, rising: bool, series: list[int], active: list[bool]
) -> None:
    point = TripPoint(level=Decimal(level), rising=rising, dead_band=Decimal(10))
    states, state = [], False
    for value in series:
        state = point.active(Decimal(value), state)
        states.append(state)

    assert active == states


@pytest.mark.parametrize(
    ("value", "before", "after"),
    [
        ("3.59", False, False),
        ("3.60", False, True),
        ("3.46", True, True),
        ("3.45", True, False),
        ("3.50", False, False),
    ],
)
def test_trip_point_decides_to_one_count(value: str, before: bool, after: bool) -> None:
    point = TripPoint(level=Decimal("3.60"), rising=True, dead_band=Decimal("0.15"))

    assert after is point.active(Decimal(value), before)


def test_trip_point_without_a_dead_band_is_over_below_its_level() -> None:
    point = TripPoint(level=Decimal(5), rising=True)

    assert point.active(Decimal(5), True)
    assert not point.active(Decimal("4.99"), True)


def test_trips_keep_each_point_for_itself() -> None:
    trips = Trips(
        high=TripPoint(level=Decimal(5), rising=True, dead_band=Decimal(1)),
        low=TripPoint(level=Decimal(2), rising=False, dead_band=Decimal(1)),
    )

    assert trips.receive(Decimal(5)) == {"high": True, "low": False}
    assert trips.receive(Decimal(1)) == {"high": False, "low": True}
    trips.clear()
    assert trips.active == {"high": False, "low": False}
