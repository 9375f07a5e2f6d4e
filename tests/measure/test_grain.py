"""By what steps two sides can be apart; worked out by hand, and tried with values of counts."""

from decimal import Decimal as D
from fractions import Fraction
from itertools import product

import pytest
from measure.paper_units import UNITS

from hil.measure.grain import Grain, check_tolerance, common
from hil.measure.lexis import ExpressionError
from hil.measure.relation import bind
from hil.measure.syntax import read_expression, read_relation

COUNTS = {"a.x": D("0.01"), "a.y": D("0.1"), "a.free": None, "a.warmth": D("0.01")}


def unit_of(path):
    return "°C" if path == "a.warmth" else "bar"


def grain(text):
    return Grain(unit_of, COUNTS.get, UNITS).of(read_expression(text))


BAR = Fraction(100_000)


@pytest.mark.parametrize(
    ("text", "bars"),
    [
        ("a.x", "1/100"),
        ("a.x + a.y", "1/100"),
        ("a.y - 0.25 bar", "1/20"),
        ("3 * a.y", "3/10"),
        ("a.y / 4", "1/40"),
        ("a.x / 3", "1/300"),
        ("-abs(a.y)", "1/10"),
        ("max(a.x, a.y)", "1/100"),
        ("round(a.x, 1)", "1/10"),
        ("round(a.x, -1)", "10"),
        ("a.x + 0 bar", "1/100"),
    ],
)
def test_the_grain_of_an_expression(text, bars):
    assert grain(text) == Fraction(bars) * BAR


@pytest.mark.parametrize(
    "text", ["a.free", "a.x * a.y", "1 / a.x", "sqrt(a.x)", "a.x ^ 2", "a.x + a.free", "a.x / a.y"]
)
def test_what_nothing_is_known_of_has_no_grain(text):
    assert grain(text) is None


def test_a_point_on_a_scale_shares_its_zero():
    # 273.15 K and 0.01 K have 0.01 K in common
    assert grain("a.warmth") == Fraction(1, 100)


def test_common_steps():
    assert common(Fraction(1, 4), Fraction(1, 6)) == Fraction(1, 12)
    assert common(Fraction(0), Fraction(3)) == 3
    assert common(Fraction(1), None) is None
    assert common() == 0


@pytest.mark.parametrize(
    "text", ["a.x = a.y", "a.x / 3 = a.y - 0.07 bar", "round(a.x, 1) = 2 * a.y"]
)
def test_no_two_values_of_counts_are_closer_than_the_grain(text):
    comparison = read_relation(text)
    relation = bind(comparison, unit_of, UNITS)
    step = common(grain(text.split(" = ")[0]), grain(text.split(" = ")[1])) / BAR
    values = [D(n) / 100 for n in range(-40, 40, 3)], [D(n) / 10 for n in range(-8, 8)]
    apart = set()
    for x, y in product(*values):
        sides = {"a.x": x, "a.y": y}
        apart.add(abs(relation.left(sides) - relation.right(sides)))

    assert min(one for one in apart if one) >= step
    assert all((one / step).denominator == 1 for one in apart)


@pytest.mark.parametrize(
    ("text", "fine"),
    [
        ("a.x = a.y ± 0.005 bar", False),
        ("a.x = a.y ± 0.0049 bar", True),
        ("a.x = a.y ± 4 hPa", True),
        ("a.y = 1.25 bar ± 0.025 bar", False),
        ("a.y = 1.25 bar ± 0.024 bar", True),
        ("a.x = a.y", False),
        ("a.free = a.y ± 0.0001 bar", False),
        ("a.x = a.y ± a.x / 1000", False),
        ("a.x * (1 / (1 - 1)) = a.y ± 0.0001 bar", False),
    ],
)
def test_a_tolerance_below_half_of_the_grain_is_refused(text, fine):
    comparison = read_relation(text)
    if not fine:
        check_tolerance(comparison, unit_of, COUNTS.get, UNITS)
        return
    with pytest.raises(ExpressionError) as raised:
        check_tolerance(comparison, unit_of, COUNTS.get, UNITS)

    assert raised.value.column == text.index("±") + 3
    assert raised.value.hint.endswith("or none where they must be the same")
