"""Specs that contradict themselves are refused; what follows from the others."""

from decimal import Decimal

import pytest
from alarms.drawing import band, feed, pressure, spec

from hil.alarms.edge import edges
from hil.alarms.grid import Grid, Stretch, grid_of


@pytest.mark.parametrize(
    ("bands", "more", "why"),
    [
        ([band("red", None, None)], {}, "not one of the bands"),
        ([band("green", None, 5), band("green", 5, None)], {}, "a name of its own"),
        ([band("green", None, 5), band("fault", 5, None)], {}, "reserved"),
        ([band("green", None, None)], {"low": "10"}, "no width"),
        ([band("green", None, None)], {"displayed_decides": True}, "how it is displayed"),
    ],
)
def test_a_spec_that_contradicts_itself_is_refused(bands, more, why):
    with pytest.raises(ValueError, match=why):
        spec(*bands, **more)


def test_severity_counts_bands_away_from_normal():
    described = feed()

    assert [described.severity(one.name) for one in described.bands] == [1, 0, 1, 2]


def test_edges_trip_away_from_normal_and_reset_towards_it():
    found = [(edge.alarm, edge.inner, edge.rising, str(edge.reset)) for edge in edges(feed())]

    assert found == [
        ("low", "green", False, "1.15"),
        ("amber", "green", True, "3.45"),
        ("red", "amber", True, "4.35"),
    ]
    assert {Decimal("0.15")} == {edge.dead_band for edge in edges(feed())}


def test_every_look_has_a_colour():
    described = feed()

    assert described.looks() == (
        "low", "green", "amber", "red", "fault", "stale", "silent", "start-up",
    )  # fmt: skip
    assert [described.colour(look) for look in described.looks()] == [
        "amber",
        "green",
        "amber",
        "red",
        "blue",
        "blue",
        "blue",
        "off",
    ]


@pytest.mark.parametrize(
    ("value", "floor", "ceil"), [("0.30", 30, 30), ("0.305", 30, 31), ("-0.305", -31, -30)]
)
def test_counts_are_exact(value, floor, ceil):
    grid = Grid(Decimal(0), Decimal("0.01"))

    assert (floor, ceil) == (grid.floor(Decimal(value)), grid.ceil(Decimal(value)))


@pytest.mark.parametrize(
    ("low", "high", "owns", "counts"),
    [
        ("1", "2", (True, True), [2, 3, 4]),
        ("1", "2", (False, False), [3]),
        ("1.1", "1.4", (True, True), []),
        ("1", "1", (True, True), [2]),
        ("1", "1", (True, False), []),
    ],
)
def test_the_counts_of_a_stretch_respect_its_ends(low, high, owns, counts):
    stretch = Stretch(Decimal(low), Decimal(high), *owns)

    assert counts == list(stretch.counts(Grid(Decimal(0), Decimal("0.5"))))
    assert stretch.empty is (low == high and owns != (True, True))


def test_counts_begin_at_the_low_end_where_zero_is_no_count():
    assert Decimal("0.25") == grid_of(pressure(low=Decimal("0.25"), resolution=Decimal(1))).origin
    assert Decimal(0) == grid_of(pressure(low=Decimal(-3), resolution=Decimal(1))).origin
    assert grid_of(pressure(resolution=None)) is None
