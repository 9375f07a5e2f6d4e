"""From accuracy statements to uncertainties."""

import math
from decimal import Decimal as D

import pytest

from hil.measure.uncertainty import (
    Accuracy,
    accuracy_limit,
    combined,
    from_expanded,
    from_limit,
    from_resolution,
    reading_uncertainty,
)


def test_the_parts_of_an_accuracy_add():
    accuracy = Accuracy(of_reading=D("0.005"), of_range=D("0.001"), counts=D(2), fixed=D("0.01"))

    found = accuracy_limit(accuracy, D("-4.8"), low=D(0), high=D(10), resolution=D("0.01"))

    assert found == D("0.0640")  # 0.024 + 0.01 + 0.02 + 0.01


@pytest.mark.parametrize("accuracy", [Accuracy(of_range=D("0.01")), Accuracy(counts=D(1))])
def test_a_part_needs_what_it_is_of(accuracy):
    with pytest.raises(ValueError, match="needs"):
        accuracy_limit(accuracy, D(1))


def test_an_accuracy_has_no_negative_part():
    with pytest.raises(ValueError):
        Accuracy(fixed=D("-0.1"))


def test_certain_limits_and_resolution_are_rectangular():
    # GUM (JCGM 100:2008) 4.3.7 a/√3 and F.2.2.1: u = 0.29 δx; from memory.
    assert float(from_limit(D(1))) == pytest.approx(1 / math.sqrt(3), rel=1e-15)
    assert round(from_resolution(D(1)), 2) == D("0.29")


def test_uncorrelated_parts_add_as_squares():
    found = combined([D(3), D(4)])

    assert (found.standard, found.expanded) == (D(5), D(10))


def test_a_stated_uncertainty_is_divided_by_its_factor():
    # GUM 4.3.3: U = 240 µg as three standard deviations gives u = 80 µg; from memory.
    assert from_expanded(D(240), D(3)) == D(80)


def test_a_reading_carries_accuracy_resolution_and_stimulus():
    found = reading_uncertainty(
        D("4.80"),
        accuracy=Accuracy(fixed=D("0.02")),
        resolution=D("0.01"),
        stimulus=D("0.005"),
        coverage=D(2),
    )

    expected = math.sqrt(0.02**2 / 3 + 0.01**2 / 12 + 0.005**2)
    assert float(found.standard) == pytest.approx(expected, rel=1e-14)
    assert float(found.expanded) == pytest.approx(2 * expected, rel=1e-14)


@pytest.mark.parametrize(
    "make",
    [
        lambda: from_limit(D(-1)),
        lambda: from_expanded(D(-1)),
        lambda: from_expanded(D(1), D(0)),
        lambda: combined([D(1)], D(0)),
    ],
)
def test_what_makes_no_sense_is_refused(make):
    with pytest.raises(ValueError):
        make()
