"""Chromaticity regions against the printed edges and corners of the standards."""

from decimal import Decimal
from fractions import Fraction

import pytest

from hil.alarms.region import Origin
from hil.alarms.standard import REGIONS

# points with the colours that contain them, from the printed edges of UN R48 2.29, ICAO Annex 14
# vol. I app. 1 and 33 CFR 84.13 (computed; none lies on an edge)
POINTS = [
    ("0.700", "0.295", "red", "red", "red"),
    ("0.690", "0.305", "red", "red", "red"),
    ("0.660", "0.330", "red", "red", ""),
    ("0.640", "0.330", "", "", ""),  # the sRGB red primary is no signal red
    ("0.650", "0.345", "", "", ""),
    ("0.620", "0.375", "", "", ""),
    ("0.590", "0.400", "amber", "yellow", "yellow"),
    ("0.580", "0.415", "amber", "yellow", "yellow"),
    ("0.600", "0.395", "amber", "yellow", "yellow"),
    ("0.560", "0.420", "amber", "yellow", ""),
    ("0.550", "0.400", "", "", ""),
    ("0.500", "0.480", "selective_yellow", "", ""),
    ("0.31272", "0.32903", "white", "white", "white"),  # D65
    ("0.44758", "0.40745", "white", "white", "white"),  # illuminant A
    ("0.400", "0.390", "white", "white", "white"),
    ("0.480", "0.390", "white", "white", "white"),
    ("0.480", "0.375", "", "", ""),
    ("0.300", "0.300", "", "white", ""),
    ("0.350", "0.400", "", "", ""),
    ("0.520", "0.410", "", "", "white"),
    ("0.150", "0.060", "", "blue", ""),  # the sRGB blue primary
    ("0.130", "0.100", "", "blue", ""),
    ("0.250", "0.200", "", "", ""),
    ("0.100", "0.600", "", "green", "green"),
    ("0.200", "0.550", "", "green", "green"),
    ("0.300", "0.600", "", "green", ""),  # the sRGB green primary
    ("0.330", "0.600", "", "", ""),
]


@pytest.mark.parametrize("standard", ["r48", "icao", "colreg"])
@pytest.mark.parametrize("point", POINTS, ids=lambda point: f"{point[0]},{point[1]}")
def test_a_point_lies_in_the_regions_that_the_printed_edges_say(standard, point):
    x, y, *wanted = point
    inside = [
        name.removeprefix(f"{standard}_")
        for name, region in REGIONS.items()
        if name.startswith(standard) and region.contains(Decimal(x), Decimal(y))
    ]

    assert inside == [name for name in [wanted[["r48", "icao", "colreg"].index(standard)]] if name]


# corner points as printed, to three decimals (UN R48 2.29.1 to 2.29.4)
CORNERS = {
    "r48_white": "0.310 0.348, 0.453 0.440, 0.500 0.440, 0.500 0.382, 0.443 0.382, 0.310 0.283",
    "r48_selective_yellow": "0.454 0.486, 0.480 0.519, 0.545 0.454, 0.521 0.440, 0.500 0.440",
    "r48_amber": "0.545 0.425, 0.560 0.440, 0.609 0.390, 0.597 0.390",
    "r48_red": "0.645 0.335, 0.665 0.335, 0.735 0.265, 0.721 0.259",
}


@pytest.mark.parametrize(
    ("name", "corner"),
    [(name, pair) for name, all_ in CORNERS.items() for pair in all_.split(", ")],
)
def test_a_printed_corner_lies_on_the_border_of_its_region(name, corner):
    x, y = (Decimal(part) for part in corner.split())
    off = [Decimal(step) / 1000 for step in (-2, 0, 2)]
    around = {REGIONS[name].contains(x + dx, y + dy) for dx in off for dy in off}

    assert around == {True, False}


def line(name: str, printed: str):
    """Return a, b, c of a printed edge of a region."""
    (found,) = {
        (edge.a, edge.b, edge.c)
        for clause in REGIONS[name].clauses
        for edge in clause
        if edge.printed == printed
    }
    return [Fraction(part) for part in found]


# where printed edges meet (computed to four decimals)
@pytest.mark.parametrize(
    ("name", "first", "second", "x", "y"),
    [
        ("r48_amber", "y <= -0.120 + 1 x", "y >= 0.790 + -0.670 x", 0.5449, 0.4249),
        ("r48_amber", "y >= 0.390 + 0 x", "y >= 0.790 + -0.670 x", 0.5970, 0.3900),
        ("r48_red", "y <= 0.335 + 0 x", "y >= 0.980 + -1 x", 0.6450, 0.3350),
        ("r48_white", "y >= 0.382 + 0 x", "y >= 0.050 + 0.750 x", 0.4427, 0.3820),
        ("r48_white", "x >= 0.310 + 0 y", "y >= 0.050 + 0.750 x", 0.3100, 0.2825),
    ],
)
def test_printed_edges_meet_in_the_printed_corner(name, first, second, x, y):
    a1, b1, c1 = line(name, first)
    a2, b2, c2 = line(name, second)
    determinant = a1 * b2 - a2 * b1

    assert float((b1 * c2 - b2 * c1) / determinant) == pytest.approx(x, abs=5e-5)
    assert float((c1 * a2 - c2 * a1) / determinant) == pytest.approx(y, abs=5e-5)


def test_white_is_not_convex():
    first, last = (Decimal("0.350"), Decimal("0.320")), (Decimal("0.499"), Decimal("0.383"))
    middle = tuple((a + b) / 2 for a, b in zip(first, last, strict=True))

    for name in ("r48_white", "icao_white", "colreg_white"):
        assert REGIONS[name].contains(*first) and REGIONS[name].contains(*last)
        assert not REGIONS[name].contains(*middle)


@pytest.mark.parametrize("name", ["r48_red", "icao_green", "icao_blue", "r48_amber"])
def test_a_colour_that_does_not_exist_is_in_no_region(name):
    beyond = {"r48_red": (0.8, 0.3), "icao_green": (0.0, 0.4), "icao_blue": (0.05, 0.05)}
    x, y = beyond.get(name, (0.7, 0.5))

    assert not REGIONS[name].contains(Decimal(str(x)), Decimal(str(y)))


def test_edges_and_corners_belong_to_the_region():
    assert REGIONS["r48_white"].contains(Decimal("0.310"), Decimal("0.300"))
    assert REGIONS["colreg_green"].contains(Decimal("0.300"), Decimal("0.511"))
    assert REGIONS["colreg_white"].contains(Decimal("0.525"), Decimal("0.400"))


# 33 CFR 84.13 prints the red corners in an order that crosses itself; walked right, the middle of
# the region is inside
def test_the_red_polygon_does_not_cross_itself():
    assert REGIONS["colreg_red"].contains(Decimal("0.699"), Decimal("0.291"))
    assert REGIONS["colreg_red"].contains(Decimal("0.672"), Decimal("0.315"))


def test_a_region_with_edges_from_memory_says_so():
    assert {"icao_white"} == {
        name for name, region in REGIONS.items() if region.origin is Origin.MEMORY
    }


def test_a_printed_corner_on_the_end_of_the_spectrum_is_inside_in_spite_of_its_rounding():
    # UN R48 2.29.4 prints 0.735 0.265; the locus ends at 0.7347 0.2653 (CIE 1931)
    assert REGIONS["r48_red"].contains(Decimal("0.735"), Decimal("0.265"))
