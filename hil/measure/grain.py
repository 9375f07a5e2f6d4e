"""By what steps the two sides of a relation can be apart, which tells whether a tolerance is too fine.

    feedline.pressure counts 0.01 bar, console.feed-reading 0.1 bar: they are apart by 0, 0.01, 0.02 …

A value of counts lies on multiples of its count, a sum on multiples of what both have in common, a
rounded value on its last decimal.  What nothing can be said of (products of signals, roots, angles)
has no grain, and no tolerance is too fine for it.
"""

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from math import gcd

from hil.measure.binding import UnitOf, bind_expression
from hil.measure.dimension import Meaning, Units
from hil.measure.exact import as_decimal
from hil.measure.expression import (
    Call,
    Comparison,
    Expression,
    Name,
    Negative,
    Number,
    Operation,
    Power,
    names,
)
from hil.measure.lexis import ExpressionError

CountOf = Callable[[str], Decimal | None]
"""From a signal to what all its values are multiples of; None where there is no such number."""


class Grain:
    """Works out grains in base units; 0 is a grain that everything has in common."""

    def __init__(self, unit_of: UnitOf, count_of: CountOf, units: Units) -> None:
        self._unit_of, self._count_of, self._units = unit_of, count_of, units

    def of(self, tree: Expression) -> Fraction | None:
        """Return the grain of an expression that can be bound; None where it has none."""
        match tree:
            case Number():
                return abs(self._meaning(tree).base(Fraction(tree.value)))
            case Name():
                count = self._count_of(tree.path)
                return None if count is None else self._steps(tree, Fraction(count))
            case Negative():
                return self.of(tree.of)
            case Operation(sign="+" | "-"):
                return common(self.of(tree.left), self.of(tree.right))
            case Operation():
                return self._scaled(tree)
            case Call(function="abs" | "min" | "max"):
                return common(*map(self.of, tree.arguments))
            case Call(function="round"):
                return self._steps(tree, Fraction(10) ** -tree.places)
            case Call() | Power():
                return None

    def _meaning(self, tree: Expression) -> Meaning:
        return bind_expression(tree, self._unit_of, self._units).meaning

    def _steps(self, tree: Expression, step: Fraction) -> Fraction | None:
        meaning = self._meaning(tree)
        return common(step * meaning.scale, abs(meaning.offset))

    def _scaled(self, tree: Operation) -> Fraction | None:
        """Return the grain of a signal's multiple; of a product of two signals there is none."""
        plain, other = tree.left, tree.right
        if names(plain):
            plain, other = other, plain
        grain = self.of(other)
        if names(plain) or grain is None or (tree.sign == "/" and other is tree.right):
            return None
        bound = bind_expression(plain, self._unit_of, self._units)
        factor = bound.meaning.base(bound.evaluate({}))
        return abs(grain / factor if tree.sign == "/" else grain * factor)


def common(*grains: Fraction | None) -> Fraction | None:
    """Return the greatest step of which all are multiples; None where one has none."""
    found = Fraction(0)
    for grain in grains:
        if grain is None:
            return None
        below = found.denominator * grain.denominator
        found = Fraction(
            gcd(found.numerator * grain.denominator, grain.numerator * found.denominator), below
        )
    return found


def check_tolerance(
    comparison: Comparison, unit_of: UnitOf, count_of: CountOf, units: Units
) -> None:
    """Raise ExpressionError where a tolerance is below half of what the sides can be apart by."""
    tree = comparison.tolerance
    if tree is None or names(tree):
        return
    grain = Grain(unit_of, count_of, units)
    try:
        step = common(grain.of(comparison.left), grain.of(comparison.right))
        bound = bind_expression(tree, unit_of, units)
        width = bound.evaluate({}) * bound.meaning.scale
    except (ZeroDivisionError, ValueError, OverflowError):
        return
    if not step or 2 * width >= step:
        return
    unit = bound.meaning.unit
    least = f"{as_decimal(step / bound.meaning.scale):f} {unit}".rstrip()
    what = f"the tolerance is less than half of {least}, by which the two sides can be apart"
    raise ExpressionError(tree.column, what, f"{least}, or none where they must be the same")
