"""Units of results: what dimension a sum or a product has, and how it converts.

A dimension is written as a product of names, each with a whole or broken power: `length`,
`length*time^-1`, empty for a plain number.  A unit is base = number × factor + offset; a unit with
an offset (°C) stands for a point on a scale, of which only differences may be scaled or added:

    point − point = difference      point ± difference = point      anything else is refused

What the units are is handed in (`Units`); this module only combines them.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from hil.measure.exact import square_root

Dimension = frozenset[tuple[str, Fraction]]
PLAIN: Dimension = frozenset()


def _no_offset(unit: str) -> Fraction:
    return Fraction(0)


@dataclass(frozen=True, slots=True)
class Units:
    """How to look units up: each function takes a unit as written.

    `dimension_of` returns the dimension as text and raises ValueError, with the reason, where
    there is no such unit.
    """

    dimension_of: Callable[[str], str]
    factor: Callable[[str], Fraction | Decimal | int]
    offset: Callable[[str], Fraction | Decimal | int] = _no_offset


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a number in an expression stands for: base = number × scale + offset."""

    unit: str
    dimension: Dimension
    scale: Fraction
    offset: Fraction = Fraction(0)

    @property
    def point(self) -> bool:
        """Whether it is a point on a scale whose zero is elsewhere, such as °C."""
        return self.offset != 0

    def base(self, number: Fraction) -> Fraction:
        """Return the number in base units."""
        return number * self.scale + self.offset

    def within(self, base: Fraction) -> Fraction:
        """Return a number in base units in this one."""
        return (base - self.offset) / self.scale

    def difference(self) -> "Meaning":
        """Return the meaning of differences in this unit."""
        return replace(self, offset=Fraction(0))


def look_up(unit: str, units: Units) -> Meaning:
    """Return what a unit means; a plain number has the empty unit.  Raises ValueError."""
    if not unit:
        return Meaning("", PLAIN, Fraction(1))
    dimension = read_dimension(units.dimension_of(unit))
    scale = Fraction(units.factor(unit))
    if scale <= 0:
        raise ValueError(f"{unit} has a factor of {scale}")
    return Meaning(unit, dimension, scale, Fraction(units.offset(unit)))


def read_dimension(text: str) -> Dimension:
    """Read `length*time^-1`; raises ValueError on an empty name or an odd power."""
    powers: dict[str, Fraction] = {}
    for part in text.split("*") if text else ():
        name, _, power = part.strip().partition("^")
        if not name:
            raise ValueError(f"{text!r} is no dimension")
        powers[name] = powers.get(name, Fraction(0)) + Fraction(power or "1")
    return frozenset(item for item in powers.items() if item[1])


def show_dimension(dimension: Dimension) -> str:
    """Render a dimension for a message: `length*time^-1`, `a plain number`."""
    parts = [name if power == 1 else f"{name}^{power}" for name, power in sorted(dimension)]
    return "*".join(parts) or "a plain number"


def product(left: Meaning, right: Meaning, power: int = 1) -> Meaning:
    """Return the meaning of left × right^power."""
    powers = dict(left.dimension)
    for name, exponent in right.dimension:
        powers[name] = powers.get(name, Fraction(0)) + exponent * power
    dimension = frozenset(item for item in powers.items() if item[1])
    sign = "·" if power > 0 else "/"
    inverse = right.unit if abs(power) == 1 else f"({right.unit})^{abs(power)}"
    unit = f"{left.unit or ('1' if power < 0 else '')}{sign}{inverse}" if right.unit else left.unit
    return Meaning(unit.lstrip("·"), dimension, left.scale * right.scale**power)


def root(of: Meaning) -> tuple[Meaning, Fraction]:
    """Return the meaning of a square root, and what to multiply the number by beforehand."""
    dimension = frozenset((name, power / 2) for name, power in of.dimension)
    unit = f"√({of.unit})" if of.unit else ""
    scale = square_root(of.scale)
    if scale * scale == of.scale:
        return Meaning(unit, dimension, scale), Fraction(1)
    return Meaning(show_dimension(dimension), dimension, Fraction(1)), of.scale
