"""Does an equation between signals hold, and with what margin?

    console.feed-reading = round(feedline.pressure, 1)
    mast.temperature = climate.temperature ± 0.5 K
    louvres.vane-1.angle = atan2(sun.y, sun.x) ± 1.5 deg
    circulator.rpm >= 0.9 * circulator.target

The language is hil.measure.syntax's; arithmetic is exact, in fractions, but for the 15 digits of
sin, cos and atan2 and the 50 of an irrational sqrt.  Nothing is ever evaluated as Python.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from hil.measure.binding import Evaluate, UnitOf, Values, bind_expression, converted, same_dimension
from hil.measure.dimension import Meaning, Units
from hil.measure.exact import as_decimal
from hil.measure.expression import Comparison, Name, names
from hil.measure.lexis import ExpressionError

Ends = Callable[[str], tuple[Decimal | None, Decimal | None]]
"""From a signal to the ends of its range."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """Whether a relation held; `holds` is None where the values allow no answer, and `why` says.

    `left`, `right`, `difference` (left − right) and `tolerance` are in `unit`.  `margin`: with a
    tolerance 1 − |difference| / tolerance; for < <= > >= with a signal on the left, how much of
    the way from the right side to the end of the signal's range was left; else None.
    """

    holds: bool | None
    left: Decimal | None = None
    right: Decimal | None = None
    difference: Decimal | None = None
    tolerance: Decimal | None = None
    unit: str = ""
    margin: float | None = None
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Relation:
    """A relation with its units checked: `signals` are what it needs the values of."""

    comparison: Comparison
    signals: frozenset[str]
    unit: str
    left: Evaluate
    right: Evaluate
    tolerance: Evaluate | None
    ends: tuple[Decimal | None, Decimal | None]

    def judge(self, values: Mapping[str, Decimal]) -> Judgement:
        """Judge the relation on one set of values, each in its signal's own unit."""
        missing = sorted(self.signals - values.keys())
        if missing:
            return Judgement(holds=None, why=f"no value of {', '.join(missing)}")
        try:
            return self._judge(values)
        except ZeroDivisionError:
            return Judgement(holds=None, why="a division by zero")
        except OverflowError:
            return Judgement(holds=None, why="a number without end")
        except ValueError as error:
            return Judgement(holds=None, why=str(error))

    def _judge(self, values: Values) -> Judgement:
        left, right = self.left(values), self.right(values)
        tolerance = None if self.tolerance is None else self.tolerance(values)
        if tolerance is not None and tolerance < 0:
            return Judgement(holds=None, why="the tolerance is negative")
        return Judgement(
            holds=_holds(self.comparison.sign, left - right, tolerance),
            left=as_decimal(left),
            right=as_decimal(right),
            difference=as_decimal(left - right),
            tolerance=None if tolerance is None else as_decimal(tolerance),
            unit=self.unit,
            margin=self._margin(left - right, right, tolerance),
        )

    def _margin(
        self, difference: Fraction, right: Fraction, tolerance: Fraction | None
    ) -> float | None:
        if tolerance is not None:
            return _ratio(tolerance - abs(difference), tolerance)
        low, high = self.ends
        if self.comparison.sign in (">", ">=") and high is not None:
            return _ratio(difference, Fraction(high) - right)
        if self.comparison.sign in ("<", "<=") and low is not None:
            return _ratio(-difference, right - Fraction(low))
        return None


def bind(
    comparison: Comparison, unit_of: UnitOf, units: Units, ends_of: Ends | None = None
) -> Relation:
    """Check the signals and units of a relation.

    `unit_of` returns a signal's unit, None where there is no such number; `ends_of` its range, for
    the margin of inequalities.  Raises ExpressionError, with the column, on an unknown signal or
    unit, on mixed dimensions, and on a tolerance that no reading could need.
    """
    signals = names(comparison)
    if not signals:
        raise ExpressionError(
            1, "a relation speaks of at least one signal", "node.signal = 2.4 bar"
        )
    left = bind_expression(comparison.left, unit_of, units)
    right = bind_expression(comparison.right, unit_of, units)
    same_dimension(left.meaning, right.meaning, comparison.column)
    told = left.meaning
    if not isinstance(comparison.left, Name):
        told = _plainer(left.meaning, right.meaning)
    ends: tuple[Decimal | None, Decimal | None] = (None, None)
    if ends_of is not None and isinstance(comparison.left, Name):
        ends = ends_of(comparison.left.path)
    return Relation(
        comparison=comparison,
        signals=signals,
        unit=told.unit,
        left=converted(left, told),
        right=converted(right, told),
        tolerance=_tolerance(comparison, told, unit_of, units),
        ends=ends,
    )


def _plainer(left: Meaning, right: Meaning) -> Meaning:
    """Return in what both sides are told: that of the left one, unless its unit is a product."""
    products = [sum(map(each.unit.count, "·/√^")) for each in (left, right)]
    return right if products[1] < products[0] else left


def _tolerance(
    comparison: Comparison, meaning: Meaning, unit_of: UnitOf, units: Units
) -> Evaluate | None:
    """Return the tolerance in the unit of both sides; 0.5 °C is taken as a difference."""
    if comparison.tolerance is None:
        return None
    bound = bind_expression(comparison.tolerance, unit_of, units)
    same_dimension(meaning, bound.meaning, comparison.tolerance.column)
    ratio = bound.meaning.scale / meaning.scale
    if not names(comparison.tolerance) and not _is_positive(bound.evaluate):
        hint = "0.5, in the unit of both sides, or none where they must be the same"
        raise ExpressionError(comparison.tolerance.column, "a tolerance is above 0", hint)
    return lambda values: bound.evaluate(values) * ratio


def _is_positive(constant: Evaluate) -> bool:
    try:
        return constant({}) > 0
    except (ZeroDivisionError, ValueError):
        return False


def _holds(sign: str, difference: Fraction, tolerance: Fraction | None) -> bool:
    match sign:
        case "=":
            return abs(difference) <= (tolerance or 0)
        case "!=":
            return difference != 0
        case "<":
            return difference < 0
        case "<=":
            return difference <= 0
        case ">":
            return difference > 0
        case _:
            return difference >= 0


def _ratio(part: Fraction, whole: Fraction) -> float | None:
    return float(part / whole) if whole > 0 else None
