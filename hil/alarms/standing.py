"""One alarm over time: does it stand, is it latched, is it acknowledged?

standing   latched alarm: afterwards       becomes so when
no         quiet                           the clear condition has held for the off-delay
yes        latched, unacknowledged         the value has been beyond for the on-delay
no         latched, unacknowledged         it cleared and nobody has acknowledged it
no         quiet again                     acknowledged, or had been while it stood
"""

from decimal import Decimal

from hil.alarms.edge import Edge, Place
from hil.alarms.timer import Timer
from hil.core.instant import Instant


class Standing:
    """The state of the alarm at one edge; it does not know of any other."""

    def __init__(self, edge: Edge) -> None:
        self.edge = edge
        self.active = False
        self.latched = False
        self.acknowledged = False
        self.activated_at = 0
        self._last: Place | None = None  # the last place outside the dead band
        self._on = Timer(edge.on_delay)
        self._off = Timer(edge.off_delay)

    @property
    def shown(self) -> bool:
        return self.active or self.latched

    @property
    def due(self) -> Instant | None:
        """When it changes by itself if the value stays where it is."""
        return self._off.due if self.active else self._on.due

    def look(self, value: Decimal, now: Instant) -> None:
        """Take in the value in force from now on; without a delay left it acts at once."""
        place = self.edge.place(value)
        if place is not Place.INSIDE:
            self._last = place
        timer = self._off if self.active else self._on
        started = timer.due is None
        if self._counts(place):
            timer.meet(now)
        else:
            timer.miss(now, known=True)
        if started and timer.due is not None and timer.due <= now:
            self.change(now)

    def lose(self, now: Instant, afresh: bool) -> None:
        """There is no reading from now on: no time counts, in neither direction."""
        self._last = None
        self._on.miss(now, known=False)
        self._off.miss(now, known=False)
        if afresh:
            self._on.clear()
            self._off.clear()
            if self.active:
                self._deactivate()

    def change(self, now: Instant) -> None:
        """The delay is over: begin to stand, or cease to."""
        self._on.clear()
        self._off.clear()
        if self.active:
            self._deactivate()
            return
        self.active, self.activated_at = True, now
        self.latched, self.acknowledged = self.edge.latched, False

    def acknowledge(self, while_active: bool) -> None:
        """Somebody acknowledges; while it stands this counts only where the spec allows it."""
        if not self.active:
            self.latched = False
        elif while_active and self.latched:
            self.acknowledged = True

    def restart(self, survives: bool) -> None:
        """The deciding node starts anew: everything but a surviving latch is forgotten."""
        self.latched = self.latched and survives and not self.acknowledged
        self.active = self.acknowledged = False
        self._last = None
        self._on.clear()
        self._off.clear()

    def _deactivate(self) -> None:
        self.active = False
        if self.acknowledged:
            self.latched = self.acknowledged = False

    def _counts(self, place: Place) -> bool:
        """Return whether this place counts towards the next change."""
        wanted = Place.CLEAR if self.active else Place.BEYOND
        if place is not Place.INSIDE:
            return place is wanted
        delay = self.edge.off_delay if self.active else self.edge.on_delay
        return delay is not None and delay.dead_band_counts and self._last is wanted
