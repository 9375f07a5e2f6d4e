"""Regions of signal colours in the CIE 1931 x, y diagram, from published standards.

A region is a list of clauses that must all hold; a clause is one printed edge, or several of which
one must hold.  The latter is what makes white right: its lower edge is the lower of two lines,

        y >= min(0.382, 0.050 + 0.750 x)

so the region is not convex, and taking both lines as half-planes would reject daylight (D65).
Edges belong to the region.  Where a standard closes a region by the spectral locus, the locus
of the 1931 observer does (`locus`), with 0.001 to spare for the rounding of printed corners.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from functools import cache

from hil.core.signal import EXACT

Point = tuple[Decimal, Decimal]


class Origin(Enum):
    """How sure a fact is: read in its source, usual in the trade, or written from memory."""

    PUBLISHED = "published"
    COMMON_PRACTICE = "common practice, no source"
    MEMORY = "from memory"


@dataclass(frozen=True, slots=True)
class Line:
    """The half-plane a x + b y + c >= 0; `printed` is the edge as the standard prints it."""

    a: Decimal
    b: Decimal
    c: Decimal
    printed: str

    def holds(self, x: Decimal, y: Decimal) -> bool:
        """Return whether the point lies on this line or on its inner side."""
        ax, by = EXACT.multiply(self.a, x), EXACT.multiply(self.b, y)
        return EXACT.add(EXACT.add(ax, by), self.c) >= 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """One colour of one standard, by its printed edges or by its printed corners.

    `clauses` must all hold, each by at least one of its lines; `corners`, in walking order, bound
    a polygon; `locus` says that the colour must be one that exists.
    """

    name: str
    standard: str
    colour: str
    clauses: tuple[tuple[Line, ...], ...] = ()
    corners: tuple[Point, ...] = ()
    locus: bool = False
    origin: Origin = Origin.PUBLISHED

    def contains(self, x: Decimal, y: Decimal) -> bool:
        """Return whether a measured chromaticity lies in the region, its edges included."""
        if not all(any(line.holds(x, y) for line in clause) for clause in self.clauses):
            return False
        if self.corners and not _inside(self.corners, x, y):
            return False
        return not self.locus or _exists(x, y)


def _inside(corners: Sequence[Point], x: Decimal, y: Decimal) -> bool:
    """Even-odd rule, with the polygon's own edges counted as inside."""
    inside = False
    for (x1, y1), (x2, y2) in zip(corners, [*corners[1:], corners[0]], strict=True):
        across = EXACT.subtract(
            EXACT.multiply(EXACT.subtract(x, x1), EXACT.subtract(y2, y1)),
            EXACT.multiply(EXACT.subtract(y, y1), EXACT.subtract(x2, x1)),
        )
        if across == 0 and min(x1, x2) <= x <= max(x1, x2) and min(y1, y2) <= y <= max(y1, y2):
            return True
        if (y1 > y) is not (y2 > y) and (across > 0) is (y2 < y1):
            inside = not inside
    return inside


_SLACK = 0.001
_FIRST_NM, _LAST_NM = 390, 700


@cache
def _locus() -> tuple[tuple[float, float], ...]:
    from coloraide import cmfs

    points = [cmfs.CIE_1931_2DEG.xy(nm) for nm in range(_FIRST_NM, _LAST_NM + 1)]
    return tuple((x, y) for x, y in points)


def _exists(x: Decimal, y: Decimal) -> bool:
    """Return whether a chromaticity lies within the spectral locus and the purple line."""
    corners = _locus()
    px, py = float(x), float(y)
    inside = False
    for (x1, y1), (x2, y2) in zip(corners, [*corners[1:], corners[0]], strict=True):
        if (y1 > py) is not (y2 > py) and px < x1 + (py - y1) * (x2 - x1) / (y2 - y1):
            inside = not inside
        if _distance_squared(px, py, x1, y1, x2, y2) <= _SLACK**2:
            return True
    return inside


def _distance_squared(px: float, py: float, x1: float, y1: float, x2: float, y2: float) -> float:
    dx, dy = x2 - x1, y2 - y1
    length = dx * dx + dy * dy
    along = 0.0 if length == 0 else ((px - x1) * dx + (py - y1) * dy) / length
    along = min(1.0, max(0.0, along))
    return (px - x1 - along * dx) ** 2 + (py - y1 - along * dy) ** 2
