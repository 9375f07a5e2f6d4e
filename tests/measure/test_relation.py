"""Relations between signals: units, margins, and values that allow no answer."""

from decimal import Decimal as D

import pytest
from measure.paper_units import SIGNALS, UNITS

from hil.measure.expression import names
from hil.measure.lexis import ExpressionError
from hil.measure.relation import bind
from hil.measure.syntax import read_relation


def bound(text, ends=None):
    return bind(read_relation(text), SIGNALS.get, UNITS, ends)


def judge(text, **values):
    named = {path: D(value) for path, value in values.pop("values").items()}
    return bound(text, **values).judge(named)


HOLDS = [
    ("console.feed-reading = round(feedline.pressure, 1)", ["4.8", "4.82"], True),
    ("console.feed-reading = round(feedline.pressure, 1)", ["4.8", "4.86"], False),
    ("console.feed-reading = feedline.pressure ± 0.05 bar", ["4.85", "4.80"], True),
    ("console.feed-reading = feedline.pressure +/- 0.05 bar", ["4.851", "4.80"], False),
    ("console.feed-reading = feedline.pressure ± 2 % * feedline.pressure", ["5.1", "5"], True),
    ("console.feed-reading = feedline.pressure ± 2 % * feedline.pressure", ["5.11", "5"], False),
    ("mast.barometer = feedline.pressure", ["1013.25", "1.01325"], True),
    ("mast.barometer > feedline.pressure", ["1013.26", "1.01325"], True),
    ("mast.barometer >= feedline.pressure + 10 Pa", ["1013.34", "1.01325"], False),
    ("mast.temperature = room.temperature ± 0.5 K", ["21.0", "20.5"], True),
    ("mast.temperature = room.temperature ± 0.5 °C", ["21.01", "20.5"], False),
    ("mast.temperature - room.temperature < 1 K", ["21.0", "20.5"], True),
    ("mast.temperature = room.warmth", ["100", "212"], True),
    ("mast.temperature = cold.absolute", ["-273.15", "0"], True),
    ("cold.absolute - mast.temperature = 1 K", ["274.15", "0"], True),
    ("mast.temperature + 2 K >= room.temperature", ["19", "21"], True),
    ("2 K + mast.temperature >= room.temperature", ["19", "21.1"], False),
    ("louvres.vane-1.angle = atan2(sun.y, sun.x)", ["135", "2", "-2"], True),
    ("louvres.vane-1.angle = atan2(sun.y, sun.x) ± 1.5 deg", ["46.6", "1", "1"], False),
    ("sin(louvres.vane-1.angle) = 0.5", ["30"], True),
    ("cos(louvres.vane-1.angle + 1 turn) = 0.5", ["60"], True),
    ("mast.barometer - 0.1 bar = 900 hPa", ["1000"], True),
    ("sqrt(cistern.depth * sun.x) = sun.y", ["4000", "1", "2"], True),
    ("cistern.area = 4 * cistern.depth ^ 2", ["1", "500"], True),
    ("sqrt(cistern.area) = cistern.depth", ["2.25", "1500"], True),
    ("cart.speed * cart.time = cistern.depth", ["2", "250", "500"], True),
    ("cistern.depth / cart.time <= cart.speed", ["500", "250", "2"], True),
    ("max(feedline.pressure, mast.barometer) = 1.2 bar", ["1.1", "1200"], True),
    ("abs(feedline.pressure - console.feed-reading) != 0 bar", ["1", "1"], False),
    ("tile.a == -tile.b ** 2", ["-9", "3"], True),
    ("pump.share = 0.25", ["25"], True),
    ("tile.a / 3 * 3 = 1", ["1"], True),
]


@pytest.mark.parametrize(("text", "values", "holds"), HOLDS)
def test_a_relation_holds_or_does_not(text, values, holds):
    relation = bound(text)
    in_order = sorted(relation.signals, key=text.index)

    found = relation.judge({path: D(v) for path, v in zip(in_order, values, strict=True)})

    assert found.holds is holds
    assert found.why == ""


def test_numbers_are_in_the_unit_of_the_left_side():
    found = judge(
        "mast.barometer = feedline.pressure ± 0.01 bar",
        values={"mast.barometer": "1013.25", "feedline.pressure": "1.02"},
    )

    assert (found.left, found.right, found.unit) == (D("1013.25"), D(1020), "hPa")
    assert (found.difference, found.tolerance) == (D("-6.75"), D(10))


@pytest.mark.parametrize(
    ("text", "unit", "left"),
    [
        ("feedline.pressure / mast.barometer = 7", "", D(2)),
        ("mast.barometer * feedline.pressure / feedline.pressure = 1 bar", "bar", D(1)),
        ("cart.speed * cart.time = cistern.depth", "mm", D(500)),
        ("cistern.depth = cart.speed * cart.time", "mm", D(500)),
        ("cart.speed = cistern.depth / cart.time", "m/s", D(2)),
        ("cart.speed < 4 kn", "m/s", D(2)),
        ("cistern.depth * cold.absolute / cistern.depth = mast.temperature", "°C", D("26.85")),
        ("mast.temperature = room.warmth", "°C", D(100)),
    ],
)
def test_a_product_is_told_in_the_unit_of_the_other_side_and_a_signal_in_its_own(text, unit, left):
    values = {
        "feedline.pressure": D(2),
        "mast.barometer": D(1000),
        "cart.speed": D(2),
        "cart.time": D(250),
        "cistern.depth": D(500),
        "mast.temperature": D(100),
        "room.warmth": D(212),
        "cold.absolute": D(300),
    }
    relation = bound(text)

    found = relation.judge({path: values[path] for path in relation.signals})

    assert (found.unit, found.left) == (unit, left)


@pytest.mark.parametrize(("reading", "margin"), [("5", 1), ("5.05", 0.5), ("5.1", 0), ("4.8", -1)])
def test_margin_within_a_tolerance(reading, margin):
    values = {"console.feed-reading": reading, "feedline.pressure": "5"}

    found = judge("console.feed-reading = feedline.pressure ± 0.1 bar", values=values)

    assert found.margin == pytest.approx(margin)


@pytest.mark.parametrize(
    ("text", "margin"),
    [
        ("feedline.pressure >= 2 bar", 0.5),
        ("feedline.pressure < 8 bar", 0.25),
        ("feedline.pressure <= 4 bar", -0.5),
        ("feedline.pressure = 6 bar", None),
        ("2 bar <= feedline.pressure", None),
    ],
)
def test_margin_of_an_inequality_is_of_the_way_to_the_end_of_the_range(text, margin):
    relation = bound(text, ends=lambda path: (D(0), D(10)))

    assert relation.judge({"feedline.pressure": D(6)}).margin == margin


@pytest.mark.parametrize(
    ("text", "values", "why"),
    [
        ("tile.a = 1 / tile.b", {"tile.a": "1", "tile.b": "0"}, "division by zero"),
        ("tile.a = tile.b ^ -1", {"tile.a": "1", "tile.b": "0"}, "division by zero"),
        ("tile.a = sqrt(tile.b)", {"tile.a": "1", "tile.b": "-1"}, "square root"),
        ("tile.a = 1 ± tile.b", {"tile.a": "1", "tile.b": "-1"}, "negative"),
        ("tile.a = tile.b", {"tile.a": "1"}, "no value of tile.b"),
        ("tile.a = tile.b", {"tile.a": "1", "tile.b": "NaN"}, "NaN"),
        ("tile.a = tile.b", {"tile.a": "1", "tile.b": "Infinity"}, "without end"),
    ],
)
def test_values_that_allow_no_answer_give_a_reason(text, values, why):
    found = judge(text, values=values)

    assert found.holds is None
    assert why in found.why


MIXED = [
    ("feedline.pressure = mast.temperature", 19, "do not go together"),
    ("feedline.pressure >= 2", 19, "a number with a unit, bar"),
    ("feedline.pressure + 1 s > 2 bar", 19, "do not go together"),
    ("feedline.pressure = 2 bar ± 1 K", 29, "do not go together"),
    ("feedline.pressure = 2 bar ± 0 bar", 29, "above 0"),
    ("feedline.pressure = 2 bar ± 1 bar / 0", 35, "above 0"),
    ("mast.temperature + room.temperature > 2 K", 18, "only differences"),
    ("mast.temperature * 2 > 2 K", 18, "only differences"),
    ("-mast.temperature > 2 K", 1, "only differences"),
    ("abs(mast.temperature) > 2 K", 1, "only differences"),
    ("sin(feedline.pressure) > 0", 1, "do not go together"),
    ("sin(0.5) > tile.a", 1, "do not go together"),
    ("atan2(sun.x, cart.time) > 0 deg", 1, "do not go together"),
    ("max(sun.x, 1 s) > 0 m", 1, "do not go together"),
    ("feedline.pressure > 1 parsnip", 21, "no unit parsnip"),
    ("feedline.presure > 1 bar", 1, "no signal feedline.presure"),
    ("1 bar > 2 bar", 1, "at least one signal"),
    ("sqrt(feedline.pressure) > 1 bar", 25, "do not go together"),
]


@pytest.mark.parametrize(("text", "column", "says"), MIXED)
def test_what_does_not_fit_is_refused_with_its_column(text, column, says):
    with pytest.raises(ExpressionError) as caught:
        bound(text)

    assert says in str(caught.value)
    assert caught.value.column == column


def test_names_are_the_signals():
    comparison = read_relation("a.b-c = max(-d.e, f.g ^ 2) * 3 ± sqrt(h.i)")

    assert names(comparison) == {"a.b-c", "d.e", "f.g", "h.i"}


def test_a_tree_is_frozen():
    comparison = read_relation("a.b = 1")

    with pytest.raises(AttributeError):
        comparison.sign = "<"


def test_half_way_rounds_to_the_even_digit():
    # IEEE 754 roundTiesToEven
    assert judge("tile.a = round(tile.b, 1)", values={"tile.a": "0.2", "tile.b": "0.25"}).holds
    assert judge("tile.a = round(tile.b)", values={"tile.a": "4", "tile.b": "3.5"}).holds
    assert judge("tile.a = round(tile.b, -2)", values={"tile.a": "1200", "tile.b": "1234"}).holds
