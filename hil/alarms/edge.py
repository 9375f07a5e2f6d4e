"""The edges that follow from the bands: where each alarm trips, and where it clears.

    value, alarm on the high side            is
    beyond the trip point                    BEYOND   the alarm is on its way, or stands
    between reset and trip point             INSIDE   the dead band: nothing changes
    past the reset point                     CLEAR    the alarm is on its way back

The low side is the mirror image.  A value exactly on a point goes to its stated owner.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum

from hil.alarms.spec import Band, ClearsAt, Delay, Spec, Width
from hil.core.error import Mark
from hil.core.signal import EXACT


class Place(Enum):
    """Where a value lies as one alarm sees it."""

    CLEAR = "clear"
    INSIDE = "inside the dead band"
    BEYOND = "beyond"


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """The trip and reset point of one alarm band; `rising` says that it trips on the way up.

    `inner` is the neighbouring band towards normal.  `trip_included` says that a value exactly
    at the trip point is in the alarm band, `reset_included` that one at the reset point clears.
    """

    alarm: str
    inner: str
    rising: bool
    severity: int
    trip: Decimal
    trip_included: bool
    reset: Decimal
    reset_included: bool
    on_delay: Delay | None
    off_delay: Delay | None
    latched: bool
    mark: Mark

    def place(self, value: Decimal) -> Place:
        """Return where the value lies as this alarm sees it."""
        if value == self.trip and self.trip_included:
            return Place.BEYOND
        if value != self.trip and (value > self.trip) is self.rising:
            return Place.BEYOND
        if value == self.reset:
            return Place.CLEAR if self.reset_included else Place.INSIDE
        return Place.INSIDE if (value > self.reset) is self.rising else Place.CLEAR

    @property
    def dead_band(self) -> Decimal:
        """Return the width of the dead band; negative where it is on the wrong side."""
        first, second = (self.trip, self.reset) if self.rising else (self.reset, self.trip)
        return EXACT.subtract(first, second)


def edges(spec: Spec) -> tuple[Edge, ...]:
    """Return the edges from low to high, one per alarm band that has a trip point."""
    normal = spec.place(spec.normal)
    found = [_edge(spec, place, normal) for place in range(len(spec.bands)) if place != normal]
    return tuple(edge for edge in found if edge is not None)


def decided(spec: Spec, value: Decimal) -> Decimal:
    """Return the value that the bands apply to: as measured, or as displayed."""
    if spec.displayed_decides and spec.display is not None:
        return spec.display.round(value)
    return value


def band_of(spec: Spec, value: Decimal) -> str:
    """Return the band that a value trips into from normal, without delays, memory or latch."""
    value = decided(spec, value)
    beyond = [edge for edge in edges(spec) if edge.place(value) is Place.BEYOND]
    return max(beyond, key=lambda edge: edge.severity).alarm if beyond else spec.normal


def _edge(spec: Spec, place: int, normal: int) -> Edge | None:
    band = spec.bands[place]
    rising = place > normal
    trip = band.low if rising else band.high
    if trip is None:
        return None
    included = band.low_included if rising else band.high_included
    reset, reset_included = _reset(band, trip, rising, included)
    return Edge(
        alarm=band.name,
        inner=spec.bands[place - 1 if rising else place + 1].name,
        rising=rising,
        severity=abs(place - normal),
        trip=trip,
        trip_included=included,
        reset=reset,
        reset_included=reset_included,
        on_delay=band.on_delay,
        off_delay=band.off_delay,
        latched=band.latched,
        mark=band.mark,
    )


def _reset(band: Band, trip: Decimal, rising: bool, included: bool) -> tuple[Decimal, bool]:
    match band.dead_band:
        case Width(amount=amount, level_clears=level_clears):
            reset = EXACT.subtract(trip, amount) if rising else EXACT.add(trip, amount)
            return reset, level_clears
        case ClearsAt(level=level, level_clears=level_clears):
            return level, level_clears
        case None:
            return trip, not included
