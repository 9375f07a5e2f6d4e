"""The counts at which a node that follows the spec trips and clears.

The value that decides may be the displayed one: rounding is taken into account, so with one
decimal shown and red from 80.0 on, the target of the trip is the first count that reads 80.0.
"""

from bisect import bisect_left

from hil.alarms.edge import Edge, Place, decided
from hil.alarms.grid import Grid, Stretch
from hil.alarms.search import Bracket
from hil.alarms.spec import Spec


def trip_target(spec: Spec, edge: Edge, grid: Grid) -> Bracket:
    """Return the last count of the range that does not trip the alarm, and the first that does."""
    return _target(spec, edge, grid, Place.BEYOND, edge.rising)


def reset_target(spec: Spec, edge: Edge, grid: Grid) -> Bracket:
    """Return, on the way back, the last count that does not clear the alarm and the first."""
    return _target(spec, edge, grid, Place.CLEAR, not edge.rising)


def range_counts(spec: Spec, grid: Grid) -> range:
    """Return every count of the declared range."""
    return Stretch(spec.low, spec.high, True, True).counts(grid)


def _target(spec: Spec, edge: Edge, grid: Grid, wanted: Place, rising: bool) -> Bracket:
    counts = range_counts(spec, grid)
    way = counts if rising else counts[::-1]
    first = bisect_left(
        way, True, key=lambda count: edge.place(decided(spec, grid.value(count))) is wanted
    )
    return Bracket(
        way[first - 1] if first > 0 else None,
        way[first] if first < len(way) else None,
    )
