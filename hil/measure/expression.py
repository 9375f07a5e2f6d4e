"""The tree of an expression: plain frozen data, which nothing is looked up or run to make.

Each part keeps the column it began at, for messages about units that do not fit.
"""

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Number:
    """A constant, with its unit as written; empty for a plain number."""

    value: Decimal
    unit: str
    column: int


@dataclass(frozen=True, slots=True)
class Name:
    """A signal."""

    path: str
    column: int


@dataclass(frozen=True, slots=True)
class Negative:
    """Minus an expression."""

    of: "Expression"
    column: int


@dataclass(frozen=True, slots=True)
class Operation:
    """Two expressions joined by + - * /; `column` is the sign's."""

    sign: str
    left: "Expression"
    right: "Expression"
    column: int


@dataclass(frozen=True, slots=True)
class Power:
    """An expression to a whole power."""

    base: "Expression"
    exponent: int
    column: int


@dataclass(frozen=True, slots=True)
class Call:
    """One of the functions; `places` is the second argument of round."""

    function: str
    arguments: tuple["Expression", ...]
    places: int
    column: int


Expression = Number | Name | Negative | Operation | Power | Call


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two expressions compared; `tolerance` goes with = only."""

    left: Expression
    sign: str
    right: Expression
    tolerance: Expression | None
    column: int


def names(tree: Expression | Comparison) -> frozenset[str]:
    """Return the signals an expression or relation speaks of."""
    match tree:
        case Comparison(left=left, right=right, tolerance=tolerance):
            extra = frozenset() if tolerance is None else names(tolerance)
            return names(left) | names(right) | extra
        case Name(path=path):
            return frozenset({path})
        case Negative(of=inner) | Power(base=inner):
            return names(inner)
        case Operation(left=left, right=right):
            return names(left) | names(right)
        case Call(arguments=arguments):
            return frozenset[str]().union(*map(names, arguments))
        case Number():
            return frozenset()


def degree(tree: Expression) -> int:
    """Return how many factors the longest product in a tree has when it is written out."""
    match tree:
        case Negative(of=inner):
            return degree(inner)
        case Operation(sign=sign, left=left, right=right):
            parts = degree(left), degree(right)
            return sum(parts) if sign in "*/" else max(parts)
        case Power(base=base, exponent=exponent):
            return degree(base) * max(1, abs(exponent))
        case Call(arguments=arguments):
            return max(map(degree, arguments))
        case Name() | Number():
            return 1
