"""Hostile and mistaken expressions are refused, with a column; good ones mean what Python's do."""

import math
import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from measure.paper_units import UNITS

from hil.measure.binding import bind_expression
from hil.measure.exact import as_decimal, cosine, direction, sine, square_root
from hil.measure.expression import Name, Negative, Number, Operation, Power
from hil.measure.lexis import ExpressionError
from hil.measure.relation import bind
from hil.measure.syntax import read_expression, read_relation

HOSTILE = [
    ("__import__('os').system('x') = 1", 1),
    ("eval(a.b) = 1", 1),
    ("exec(a.b) = 1", 1),
    ("open(a.b) = 1", 1),
    ("getattr(a.b, c.d) = 1", 1),
    ("pow(a.b, 9) = 1", 1),
    ("a.b() = 1", 1),
    ("a.b(1) = 1", 1),
    ("a.__class__ = 1", 1),
    ("a.b.__class__.__mro__ = 1", 1),
    ("_a.b = 1", 1),
    ("a._b = 1", 1),
    ("(a.b).c = 1", 6),
    ("a.b.c[0] = 1", 6),
    ("[a.b] = 1", 1),
    ("{a.b} = 1", 1),
    ("lambda: a.b = 1", 7),
    ("(lambda x: x)(a.b) = 1", 10),
    ("a.b if c.d else 1 = 1", 5),
    ("a.b and c.d = 1", 5),
    ("a.b := 1", 5),
    ("a.b = 1; c.d = 2", 8),
    ("a.b = 'text'", 7),
    ('a.b = "text"', 7),
    ("a.b = f'{1}'", 8),
    ("a.b = 1 # so", 9),
    ("a.b = \\x41", 7),
    ("a.b = `1`", 7),
    ("a.b = 1 @ 2", 9),
    ("a.b = 1 | 2", 9),
    ("a.b = 1 & 2", 9),
    ("a.b = ~1", 7),
    ("a.b = 7 % c.d", 11),
    ("a.b = 7 // 2", 10),
    ("a.b = 9 ^ 9 ^ 9", 13),
    ("a.b = 9 ** 9 ** 9", 14),
    ("a.b = 9 ^ 10", 11),
    ("a.b = 9 ^ 99999999999", 11),
    ("a.b = 9 ^ 2.5", 11),
    ("a.b = 9 ^ c.d", 11),
    ("a.b = ((9 ^ 9) ^ 9) ^ 9", 16),
    ("a.b = 1e999", 7),
    ("a.b = 1e99999999999999", 7),
    ("a.b = 1e-31", 7),
    ("a.b = " + "9" * 31, 7),
    ("a.b = 1." + "9" * 31, 7),
    ("a.b = \u0663", 7),
    ("a.b = round(c.d, 10)", 18),
    ("a.b = round(c.d, e.f)", 18),
    ("a.b = round(c.d, 1 m)", 18),
    ("(" * 31 + "a.b" + ")" * 31 + " = 1", 31),
    ("-" * 40 + "a.b = 1", 31),
    ("a.b = " + "1 + " * 300, 501),
    ("a.b = 1" + "+1" * 120, 205),
    ("a.b = 1" + "*c.d" * 70, 260),
    ("max(a.b) = 1", 1),
    ("sqrt() = a.b", 6),
    ("sqrt(a.b, c.d) = 1", 1),
    ("atan2(a.b) = 1", 1),
    ("a.b = 1 = c.d", 9),
    ("1 < a.b < 2", 9),
    ("a.b > 1 ± 2", 9),
    ("a.b = ± 2", 7),
    ("a.b", 4),
    ("a.b =", 6),
    ("", 1),
    ("= a.b", 1),
    ("a.b = (1", 9),
    ("a.b = 1)", 8),
    ("a.b = 1 2", 9),
    ("a.b = 1,5", 8),
    ("a.b = .5", 7),
    ("a.b = 5.", 8),
    ("a.b = 1_000", 8),
    ("pressure = 1", 1),
    ("a.b = round", 7),
    ("a.b. = 1", 4),
    ("a..b = 1", 2),
    ("a.b = 1 \x00", 9),
    ("a.b = 1 \u202e", 9),
]


def refusal(work):
    """Return the error that some work is refused with, or None."""
    try:
        work()
    except ExpressionError as error:
        return error
    return None


@pytest.mark.parametrize(("text", "column"), HOSTILE, ids=lambda part: repr(part)[:40])
def test_hostile_text_is_refused_with_its_column(text, column):
    with pytest.raises(ExpressionError) as caught:
        read_relation(text)

    assert caught.value.column == column
    assert caught.value.what


@given(st.text(max_size=60))
@settings(max_examples=300)
def test_any_text_is_a_relation_or_refused(text):
    refused = refusal(lambda: read_relation(text))

    assert refused is None or 1 <= refused.column <= len(text) + 1


@given(st.text(alphabet="ab.0129+-*/^()<>=±, %emsround", max_size=60))
@settings(max_examples=300)
def test_any_near_text_is_a_relation_or_refused(text):
    refused = refusal(lambda: bind(read_relation(text), lambda path: "", UNITS))
    if refused is not None:
        assert 1 <= refused.column <= len(text) + 1
        return
    relation = bind(read_relation(text), lambda path: "", UNITS)
    found = relation.judge(dict.fromkeys(relation.signals, as_decimal(Fraction(3, 2))))
    assert found.holds is not None or found.why


def test_the_largest_number_that_gets_through_is_still_quick():
    big = "(" + " + ".join(f"1 / {n}.{'7' * 27}" for n in range(1, 11)) + ")"
    text = f"({big} ^ 8) ^ 4 > a.b"
    assert len(text) < 500

    relation = bind(read_relation(text), lambda path: "", UNITS)

    assert relation.judge({"a.b": as_decimal(Fraction(1))}).holds


def numbers():
    return st.decimals(0, 1000, places=2).map(lambda number: format(number, "f"))


def grown(inner):
    pair = st.tuples(inner, inner)
    return st.one_of(
        pair.map(lambda p: f"{p[0]} + {p[1]}"),
        pair.map(lambda p: f"{p[0]} - {p[1]}"),
        pair.map(lambda p: f"({p[0]}) * ({p[1]})"),
        pair.map(lambda p: f"{p[0]} / {p[1]}"),
        inner.map(lambda e: f"-{e}"),
        inner.map(lambda e: f"({e})"),
        st.tuples(inner, st.integers(-2, 3)).map(lambda p: f"({p[0]}) ** {p[1]}"),
        st.tuples(numbers(), st.integers(0, 3)).map(lambda p: f"{p[0]}**{p[1]}"),
        inner.map(lambda e: f"abs({e})"),
        pair.map(lambda p: f"min({p[0]}, {p[1]})"),
        pair.map(lambda p: f"max({p[0]}, {p[1]})"),
        st.tuples(inner, st.integers(-2, 4)).map(lambda p: f"round({p[0]}, {p[1]})"),
    )


def python_value(text):
    """Return what Python makes of the text, every number in it a fraction."""
    exact = re.sub(r"(?<![\w.*])(\d+\.\d+)", r"F('\1')", text)
    exact = exact.replace("a.b", "F('1.25')").replace("c.d-e", "F('-7')")
    return Fraction(eval(exact, {"F": Fraction}))


@given(st.recursive(numbers() | st.sampled_from(["a.b", "c.d-e"]), grown, max_leaves=12))
@settings(max_examples=200, deadline=None)
def test_values_are_pythons_own(text):
    refused = refusal(lambda: read_expression(text))
    if refused is not None:
        assert any(word in refused.what for word in ("deeper", "factors", "longer", "parts"))
        return
    tree = read_expression(text)
    values = {"a.b": as_decimal(Fraction(5, 4)), "c.d-e": as_decimal(Fraction(-7))}
    bound = bind_expression(tree, lambda path: "", UNITS)

    try:
        expected = python_value(text)
    except ZeroDivisionError:
        with pytest.raises(ZeroDivisionError):
            bound.evaluate(values)
        return
    assert bound.evaluate(values) == expected


def test_precedence_is_the_usual_one():
    match read_expression("-a.b ^ 2 * 3 - 1 m"):
        case Operation(
            sign="-",
            left=Operation(sign="*", left=Negative(of=Power(base=Name(path="a.b"), exponent=2))),
            right=Number(unit="m"),
        ):
            return
    raise AssertionError("-a.b ^ 2 * 3 - 1 m has another shape")


@pytest.mark.parametrize(
    ("text", "unit"),
    [("5 bar", "bar"), ("5bar", "bar"), ("50 deg/s", "deg/s"), ("2 m^2", "m^2"), ("5 %", "%"),
     ("9.81 m/s^2", "m/s^2"), ("3 kg*m/s^2", "kg*m/s^2"), ("20 °C", "°C"), ("3 1/s", "1/s"),
     ("4 µs", "µs"), ("5", "")],
)  # fmt: skip
def test_a_word_behind_a_number_is_its_unit(text, unit):
    assert read_expression(text).unit == unit


def test_a_division_by_a_signal_is_no_unit():
    match read_expression("2 bar/feed-line.pressure"):
        case Operation(sign="/", left=Number(unit="bar"), right=Name(path="feed-line.pressure")):
            return
    raise AssertionError("a signal behind / was taken into the unit")


def test_a_hyphen_belongs_to_a_name_and_minus_stands_apart():
    assert read_expression("a.vane-1").path == "a.vane-1"
    assert read_expression("a.vane - 1").sign == "-"
    assert read_expression("a.vane \u2212 1").sign == "-"


# Exact values of the unit circle.
@pytest.mark.parametrize(
    ("degrees", "value"),
    [(0, 0), (30, "0.5"), (90, 1), (150, "0.5"), (180, 0), (210, "-0.5"), (270, -1), (-90, -1),
     (360 * 10**15 + 30, "0.5")],
)  # fmt: skip
def test_sines_of_the_unit_circle_are_exact(degrees, value):
    assert sine(Fraction(degrees)) == Fraction(value)
    assert cosine(Fraction(degrees - 90)) == Fraction(value)


@given(st.fractions(-1000, 1000))
def test_sine_is_right_to_fifteen_digits(degrees):
    assert float(sine(degrees)) == pytest.approx(math.sin(math.radians(degrees)), abs=4e-14)
    assert float(sine(degrees) ** 2 + cosine(degrees) ** 2) == pytest.approx(1, abs=4e-15)


@pytest.mark.parametrize(
    ("y", "x", "degrees"),
    [(0, 0, 0), (0, 1, 0), (1, 1, 45), (1, 0, 90), (0, -1, 180), (-1, -1, -135), (10**400, 0, 90)],
)
def test_directions(y, x, degrees):
    assert direction(Fraction(y), Fraction(x)) == degrees


@given(st.fractions(0, 10**9))
def test_a_square_root_squares_back(number):
    found = square_root(number * number)
    rough = square_root(number)

    assert found == number
    assert abs(rough * rough - number) <= number * Fraction(1, 10**50)


def test_no_root_of_a_negative_number():
    with pytest.raises(ValueError):
        square_root(Fraction(-1))
