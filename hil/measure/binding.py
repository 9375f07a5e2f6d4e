"""An expression with its units: dimensions checked once, then a function of the signals' values.

Every part keeps the unit of its leftmost operand, so that round(feedline.pressure, 1) rounds bar
and not pascal; conversions are exact fractions.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from hil.measure.dimension import PLAIN, Meaning, Units, look_up, product, root, show_dimension
from hil.measure.exact import cosine, direction, sine, square_root
from hil.measure.expression import Call, Expression, Name, Negative, Number, Operation, Power
from hil.measure.lexis import ExpressionError

Values = Mapping[str, Decimal]
Evaluate = Callable[[Values], Fraction]

_DEGREES = "deg"


@dataclass(frozen=True, slots=True)
class Bound:
    """What a part means and how to work it out.

    `evaluate` raises ZeroDivisionError and ValueError where the values allow no result, and
    KeyError where a signal has no value.
    """

    meaning: Meaning
    evaluate: Evaluate


UnitOf = Callable[[str], str | None]
"""From a signal to its unit; empty for a plain number, None where there is no such number."""


def bind_expression(tree: Expression, unit_of: UnitOf, units: Units) -> Bound:
    """Check the units of an expression; raises ExpressionError with the column."""
    match tree:
        case Number():
            number = Fraction(tree.value)
            return Bound(_look_up(tree.unit, units, tree.column), lambda values: number)
        case Name():
            return _bind_name(tree, unit_of, units)
        case Negative():
            inner = bind_expression(tree.of, unit_of, units)
            _no_point(inner.meaning, tree.column)
            return Bound(inner.meaning, lambda values: -inner.evaluate(values))
        case Operation():
            left = bind_expression(tree.left, unit_of, units)
            right = bind_expression(tree.right, unit_of, units)
            if tree.sign in "+-":
                return _bind_sum(left, right, tree)
            return _bind_product(left, right, tree)
        case Power():
            return _bind_power(bind_expression(tree.base, unit_of, units), tree)
        case Call():
            arguments = [bind_expression(part, unit_of, units) for part in tree.arguments]
            return _bind_call(tree, arguments, units)


def converted(part: Bound, into: Meaning) -> Evaluate:
    """Return the part in another unit of the same dimension."""
    evaluate, meaning = part.evaluate, part.meaning
    if meaning.scale == into.scale and meaning.offset == into.offset:
        return evaluate
    return lambda values: into.within(meaning.base(evaluate(values)))


def same_dimension(left: Meaning, right: Meaning, column: int) -> None:
    """Raise ExpressionError where two things cannot be compared or added."""
    if left.dimension != right.dimension:
        what = f"{_show(left)} and {_show(right)} do not go together"
        raise ExpressionError(column, what, _together(left, right))


def _together(left: Meaning, right: Meaning) -> str:
    """Say what would go with the left side."""
    if not left.unit:
        return f"a plain number; what is in {right.unit} becomes one divided by 1 {right.unit}"
    if not right.dimension:
        return f"a number with a unit, {left.unit}"
    return f"a signal or a number in {left.unit}"


def _show(meaning: Meaning) -> str:
    if not meaning.unit:
        return show_dimension(meaning.dimension)
    return f"{meaning.unit} ({show_dimension(meaning.dimension)})"


def _look_up(unit: str, units: Units, column: int) -> Meaning:
    try:
        return look_up(unit, units)
    except ValueError as error:
        raise ExpressionError(column, str(error)) from error


def _bind_name(tree: Name, unit_of: UnitOf, units: Units) -> Bound:
    unit, path = unit_of(tree.path), tree.path
    if unit is None:
        raise ExpressionError(tree.column, f"no signal {path} with a number")
    return Bound(_look_up(unit, units, tree.column), lambda values: Fraction(values[path]))


def _no_point(meaning: Meaning, column: int) -> None:
    if meaning.point:
        what = f"only differences of {meaning.unit} can be scaled or added"
        raise ExpressionError(column, what, "subtract another one first, or use an absolute unit")


def _bind_sum(left: Bound, right: Bound, tree: Operation) -> Bound:
    same_dimension(left.meaning, right.meaning, tree.column)
    if tree.sign == "+":
        if left.meaning.point:
            _no_point(right.meaning, tree.column)
        target = right.meaning if right.meaning.point else left.meaning
        ours = converted(left, target if left.meaning.point else target.difference())
        theirs = converted(right, target if right.meaning.point else target.difference())
        return Bound(target, lambda values: ours(values) + theirs(values))
    if not right.meaning.point:
        ours, theirs = left.evaluate, converted(right, left.meaning.difference())
        return Bound(left.meaning, lambda values: ours(values) - theirs(values))
    other = converted(right, left.meaning)
    return Bound(left.meaning.difference(), lambda values: left.evaluate(values) - other(values))


def _bind_product(left: Bound, right: Bound, tree: Operation) -> Bound:
    _no_point(left.meaning, tree.column)
    _no_point(right.meaning, tree.column)
    ours, theirs = left.evaluate, right.evaluate
    if tree.sign == "*":
        meaning = product(left.meaning, right.meaning)
        return Bound(meaning, lambda values: ours(values) * theirs(values))
    meaning = product(left.meaning, right.meaning, -1)
    return Bound(meaning, lambda values: ours(values) / theirs(values))


def _bind_power(base: Bound, tree: Power) -> Bound:
    _no_point(base.meaning, tree.column)
    plain = Meaning("", PLAIN, Fraction(1))
    meaning = product(plain, base.meaning, tree.exponent) if tree.exponent else plain
    exponent = tree.exponent
    return Bound(meaning, lambda values: base.evaluate(values) ** exponent)


def _bind_call(tree: Call, arguments: list[Bound], units: Units) -> Bound:
    first = arguments[0]
    meaning, evaluate = first.meaning, first.evaluate
    match tree.function:
        case "round":
            return Bound(meaning, lambda values: _round(evaluate(values), tree.places))
        case "abs":
            _no_point(meaning, tree.column)
            return Bound(meaning, lambda values: abs(evaluate(values)))
        case "sqrt":
            _no_point(meaning, tree.column)
            result, before = root(meaning)
            return Bound(result, lambda values: square_root(evaluate(values) * before))
        case "sin" | "cos":
            return _bind_wave(tree, first, units)
        case "min" | "max" | "atan2":
            return _bind_several(tree, arguments, units)
    raise ExpressionError(tree.column, f"no function {tree.function}")


def _bind_wave(tree: Call, angle: Bound, units: Units) -> Bound:
    degrees = _look_up(_DEGREES, units, tree.column)
    same_dimension(degrees, angle.meaning, tree.column)
    turned = converted(angle, degrees)
    wave = sine if tree.function == "sin" else cosine
    return Bound(Meaning("", PLAIN, Fraction(1)), lambda values: wave(turned(values)))


def _bind_several(tree: Call, arguments: list[Bound], units: Units) -> Bound:
    meaning = arguments[0].meaning
    for argument in arguments[1:]:
        same_dimension(meaning, argument.meaning, tree.column)
    parts = [converted(argument, meaning) for argument in arguments]
    if tree.function == "atan2":
        _no_point(meaning, tree.column)
        y, x = parts
        degrees = _look_up(_DEGREES, units, tree.column)
        return Bound(degrees, lambda values: direction(y(values), x(values)))
    choose = min if tree.function == "min" else max
    return Bound(meaning, lambda values: choose(part(values) for part in parts))


def _round(number: Fraction, places: int) -> Fraction:
    """Round to decimals; half-way goes to the even digit (IEEE 754 roundTiesToEven)."""
    return Fraction(round(number, places))
