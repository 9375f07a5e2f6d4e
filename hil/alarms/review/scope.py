"""What a review looks at: the spec with the signals it is about."""

from collections.abc import Mapping
from decimal import Decimal

from hil.alarms.edge import Edge, edges
from hil.alarms.grid import Grid, Stretch, grid_of
from hil.alarms.spec import Band, Spec
from hil.core.instant import Duration
from hil.core.signal import Signal, show_number


class Scope:
    """A spec, its input's declaration and counts, and the declarations of its indicators."""

    def __init__(
        self, spec: Spec, signal: Signal, signals: Mapping[str, Signal], carry: Duration | None
    ) -> None:
        self.spec = spec
        self.signal = signal
        self.signals = signals
        self.carry = carry
        self.grid: Grid | None = grid_of(signal)
        self.edges: tuple[Edge, ...] = edges(spec)

    def show(self, value: Decimal) -> str:
        """Render a value with unit, and count where it is one."""
        if self.grid is not None:
            return self.grid.show(value, self.spec.unit)
        return self.size(value)

    def size(self, value: Decimal) -> str:
        """Render a width or difference with its unit."""
        return f"{show_number(value)} {self.spec.unit}".rstrip()

    def stretch(self, band: Band) -> Stretch:
        """Return the values of a band; an open end is the end of the range, included."""
        return Stretch(
            self.spec.low if band.low is None else band.low,
            self.spec.high if band.high is None else band.high,
            band.low is None or band.low_included,
            band.high is None or band.high_included,
        )

    def band(self, name: str) -> Band:
        """Return a band by its name."""
        return self.spec.bands[self.spec.place(name)]
