"""What a unit means: its dimension, and how it gets to the base units.

The everyday units stand in a table; pint knows the others, is imported when the first of those is
looked up, and each distinct unit is looked up once.  Angles, counts and plain fractions are kept apart, although they have no dimension:
`%`, `fraction` and `ppm` convert into one another, `deg` and `rad` do, and `count` stands alone.
"""

import decimal
import difflib
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from typing import Any

from hil.core.signal import EXACT
from hil.files.mistake import Misread, show
from hil.files.unit_table import DIFFERENCES, LINEAR, WITH_OFFSET, factor, powers

_NAME = r"[^\W\d_%][\w%°µμΩΔ²³]*|[%°Δ][\w°]*"
_POWER = r"(?:\^-?[1-3])?"
_SHAPE = re.compile(rf"(?:1/)?(?:{_NAME}){_POWER}(?:[/*·](?:{_NAME}){_POWER}){{0,3}}")
_LENGTH_LIMIT = 32
_SPELLINGS = {
    "%RH": "%",
    "%rH": "%",
    "%rF": "%",  # pint would read rontofarad
    "% RH": "%",
    "% rH": "%",
    "% rF": "%",
    "ºC": "°C",
    "ºF": "°F",
    "delta °C": "delta_degC",
    "delta °F": "delta_degF",
    "delta K": "K",
    "Nm": "N*m",  # pint would read the textile number
    "mNm": "mN*m",
    "kNm": "kN*m",
    "Ncm": "N*cm",
}
_DEFINITIONS = ("fraction = 1", "ppb = 1e-9", "@alias turn = rev")
_ALONE = frozenset({"dB", "dBm", "dBA", "dBV", "dBu", "pH", "NTU", "FNU"})
"""Levels and indices, which convert into nothing else (pint would read pH as picohenry)."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: base = number × factor + offset; `difference` is True for `delta_degC` and kin."""

    dimension: frozenset[tuple[str, Fraction]]
    factor: Fraction
    offset: Fraction
    difference: bool

    def per_second(self) -> frozenset[tuple[str, Fraction]]:
        """Return the dimension of a rate of change of this unit."""
        powers = dict(self.dimension)
        powers["second"] = powers.get("second", Fraction(0)) - 1
        return frozenset(item for item in powers.items() if item[1])


def read_unit(text: str) -> Unit:
    """Look a unit up; raise Misread where there is no such unit."""
    found = _find(text)
    if isinstance(found, Unit):
        return found
    raise Misread(*found)


@lru_cache(maxsize=4096)
def _find(text: str) -> Unit | tuple[str, str]:
    """Return a unit, or what is wrong with it and a hint; both are worth remembering."""
    spelled = _SPELLINGS.get(text, text)
    known = _known().get(spelled)
    if known is not None:
        return known
    if spelled in _ALONE:
        return Unit(frozenset({(spelled, Fraction(1))}), Fraction(1), Fraction(0), False)
    if len(spelled) > _LENGTH_LIMIT or _SHAPE.fullmatch(spelled) is None:
        return f"{show(text)} is not a unit", ""
    try:
        with decimal.localcontext(EXACT):
            return look_up(spelled)
    except Exception:
        # Pint and the tokenizer below it raise a dozen unrelated types for text that is no unit.
        return f"the unit {show(text)} is not known", _like(spelled)


@cache
def _known() -> dict[str, Unit]:
    """Return the units of the table."""
    found = {}
    for dimension, linear in LINEAR.items():
        for name, worth in linear.items():
            found[name] = Unit(powers(dimension), factor(worth), Fraction(0), False)
    for dimension, shifted in WITH_OFFSET.items():
        for name, (worth, offset) in shifted.items():
            found[name] = Unit(powers(dimension), factor(worth), factor(offset), False)
    for dimension, differences in DIFFERENCES.items():
        for name, worth in differences.items():
            found[name] = Unit(powers(dimension), factor(worth), Fraction(0), True)
    return found


def look_up(text: str) -> Unit:
    """Return what pint says of a unit; raises what pint raises."""
    registry = _registry()
    one = registry.Quantity(Fraction(1), text)
    nought = registry.Quantity(Fraction(0), text).to_base_units()
    base = one.to_base_units()
    dimension = frozenset((name, Fraction(power)) for name, power in base.unit_items())
    offset = Fraction(nought.magnitude)
    names = [name for name, _ in one.unit_items()]
    difference = any(name.startswith("delta_") for name in names) and len(names) == 1
    return Unit(dimension, Fraction(base.magnitude) - offset, offset, difference)


@cache
def _registry() -> Any:
    import pint  # takes a third of a second: only when a unit is first looked up

    registry: Any = pint.UnitRegistry(non_int_type=Fraction)
    for definition in _DEFINITIONS:
        registry.define(definition)
    return registry


def _like(text: str) -> str:
    names = [name for name in dir(_registry()) if not name.startswith("_")]
    folded = [name for name in names if name.casefold() == text.casefold()]
    close = folded or difflib.get_close_matches(text, names, n=1, cutoff=0.7)
    return close[0] if close else ""
