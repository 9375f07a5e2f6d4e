"""Which values are driven: counts of the input, the middle of each band, and how long to wait.

    amber trips          red trips
        |   [  core of amber  ] |   [ core of red ]
    ----+---+-----------------+-+---+-------------> counts
                        red clears

The core of a band is where its own alarm trips and every more severe one is past its reset point,
so that a jump to its middle must lead into the band from anywhere.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from hil.alarms.edge import Edge, edges
from hil.alarms.grid import Grid, grid_of
from hil.alarms.indicator import Reading
from hil.alarms.means import Means
from hil.alarms.spec import Spec
from hil.alarms.target import range_counts, reset_target, trip_target
from hil.core.instant import MILLISECOND, SECOND, ZERO, Duration
from hil.core.signal import EXACT, Drive, Signal, Value, show_number

ARRIVAL = Duration(SECOND)
"""How long beyond its settling time the input may take to show a value that was driven."""

COMING_BACK = Duration(10 * SECOND)
"""How long a node may take to come back after a restart."""

LEAST_SLACK = Duration(20 * MILLISECOND)
"""The least margin on a wait: the tolerance of the spec may be nothing, a network is not."""

_FINEST = 10_000  # parts of a range, where nothing declares a resolution


@dataclass(frozen=True, slots=True, kw_only=True)
class Stations:
    """The counts of one spec; `reachable` are those that the stimulus can bring about."""

    spec: Spec
    signals: Mapping[str, Signal]
    grid: Grid
    edges: tuple[Edge, ...]
    reachable: range
    drive: str

    @property
    def input(self) -> Signal:
        return self.signals[self.spec.signal]

    def value(self, count: int) -> Decimal:
        """Return the value of a count, in the unit of the spec."""
        return self.grid.value(count)

    def show(self, count: int) -> str:
        """Render a count as a value with its unit."""
        return f"{show_number(self.value(count))} {self.spec.unit}".rstrip()

    def driven(self, count: int) -> Value:
        """Return what the stimulus is driven to for a count of the input."""
        value = self.value(count)
        means = self.spec.means
        if means is None or means.line is None:
            return value
        exact = means.line.driven(value, self.spec.low, self.spec.high)
        grid = grid_of(self.signals[self.drive])
        if grid is None:
            return exact
        below = grid.floor(exact)
        near = min((below, below + 1), key=lambda one: abs(grid.value(one) - exact))
        return grid.value(near)

    def core(self, band: str) -> range:
        """Return the counts of the core of a band, from low to high; may be empty."""
        low, high = self.reachable.start, self.reachable.stop - 1
        place = self.spec.place(band) - self.spec.place(self.spec.normal)
        for edge in self.edges:
            if edge.alarm == band:
                first = trip_target(self.spec, edge, self.grid).first_beyond
            elif band == self.spec.normal or (
                edge.rising is (place > 0) and edge.severity > abs(place)
            ):
                first = reset_target(self.spec, edge, self.grid).first_beyond
            else:
                continue
            if first is None:
                return range(0)
            above = edge.rising is (edge.alarm == band)
            low, high = (max(low, first), high) if above else (low, min(high, first))
        return range(low, high + 1)

    def middle(self, band: str) -> int | None:
        """Return the count in the middle of the core of a band; None where it has no core."""
        counts = self.core(band)
        return counts[len(counts) // 2] if counts else None

    def side(self, edge: Edge) -> range:
        """Return the counts from the end of the range on an edge's side to the far end of normal.

        A search for the edge stays within: beyond, the alarms of the other side begin.
        """
        normal = self.core(self.spec.normal)
        if edge.rising:
            return range(normal.start, self.reachable.stop)
        return range(self.reachable.start, normal.stop)

    # --- times ---------------------------------------------------------------------------------

    @property
    def looking(self) -> Duration:
        """The longest time between two looks at an indicator or the input."""
        paths = [self.spec.signal, *(p for one in self.spec.indicators for p in one.signals)]
        return max((self.signals[path].sampling or ZERO for path in paths), default=ZERO)

    @property
    def slack(self) -> Duration:
        """The margin on every wait: the tolerance of the spec, and two looks."""
        return Duration(max(self.spec.tolerance.time, LEAST_SLACK) + 2 * self.looking)

    @property
    def agreement(self) -> Duration:
        """The time within which the slowest indicator must show a change."""
        own = [one.within or self.spec.agreement for one in self.spec.indicators]
        return max(own, default=self.spec.agreement)

    def after_on(self, edge: Edge) -> Duration:
        """Return how long after the input is beyond the trip point the alarm must be shown."""
        delay = edge.on_delay.length if edge.on_delay is not None else ZERO
        return Duration(delay + self.agreement + self.slack)

    def after_off(self, edge: Edge) -> Duration:
        """Return how long after the input is past the reset point the alarm must be gone."""
        delay = edge.off_delay.length if edge.off_delay is not None else ZERO
        return Duration(delay + self.agreement + self.slack)

    @property
    def settled(self) -> Duration:
        """How long any transition may take."""
        longest = [max(self.after_on(edge), self.after_off(edge)) for edge in self.edges]
        return max(longest, default=Duration(self.agreement + self.slack))

    @property
    def arrival(self) -> Duration:
        """How long a driven value may take to be seen on the input."""
        drive = self.signals[self.drive].drive
        settle = drive.settle if drive is not None else ZERO
        return Duration(settle + (self.input.sampling or ZERO) + ARRIVAL)


def stations(spec: Spec, signals: Mapping[str, Signal]) -> Stations:
    """Work out the counts of a spec on a rack; see `obstacle` for what makes it impossible."""
    drive = drive_signal(spec)
    grid = _grid(spec, signals[spec.signal], signals[drive])
    counts = range_counts(spec, grid)
    if drive == spec.signal:
        low, high = signals[drive].low, signals[drive].high
        first = counts.start if low is None else max(counts.start, grid.ceil(low))
        last = counts.stop - 1 if high is None else min(counts.stop - 1, grid.floor(high))
        counts = range(first, last + 1)
    return Stations(
        spec=spec,
        signals=signals,
        grid=grid,
        edges=edges(spec),
        reachable=counts,
        drive=drive,
    )


def drive_signal(spec: Spec) -> str:
    """Return the signal by which the input is driven."""
    means = spec.means
    return spec.signal if means is None or means.line is None else means.line.signal


def obstacle(spec: Spec, signals: Mapping[str, Signal]) -> str:
    """Return why a spec cannot be proven on this rack at all; empty where it can."""
    drive = drive_signal(spec)
    missing = [path for path in watched(spec) if path not in signals]
    if missing:
        return f"there is no signal {missing[0]} on this bench"
    if drive not in signals or signals[drive].drive is None:
        return f"{drive} cannot be driven, and no other way to bring about its values is declared"
    if all(isinstance(one.how, Reading) for one in spec.indicators):
        return "no indicator shows which band the value is in"
    if not stations(spec, signals).core(spec.normal):
        return f"no value of {spec.normal} is clear of every dead band"
    return ""


def watched(spec: Spec) -> tuple[str, ...]:
    """Return the signals that a proof looks at: the input and the indicators."""
    shown = [path for indicator in spec.indicators for path in indicator.signals]
    return tuple(dict.fromkeys([spec.signal, *shown]))


def driven_signals(spec: Spec) -> tuple[str, ...]:
    """Return every signal that some property of the spec may drive."""
    means = spec.means or Means(ways=(), mark=spec.mark)
    paths = [path for path, _ in spec.given] + [drive_signal(spec)]
    paths += [way.signal for way in means.ways]
    if spec.latch is not None:
        paths.append(spec.latch.signal)
    return tuple(dict.fromkeys(paths))


def drive_of(signal: Signal) -> Drive:
    """Return how a signal is driven.  Raises ValueError where it is not."""
    if signal.drive is None:
        raise ValueError(f"{signal.path} cannot be driven")
    return signal.drive


def _grid(spec: Spec, signal: Signal, drive: Signal) -> Grid:
    """Return the counts of the input, or those of the stimulus where they are coarser."""
    steps = [signal.resolution]
    line = spec.means.line if spec.means is not None else None
    if line is not None and drive.resolution is not None:
        span = EXACT.subtract(spec.high, spec.low)
        driven = EXACT.abs(EXACT.subtract(line.at_high, line.at_low))
        steps.append(EXACT.divide(EXACT.multiply(drive.resolution, span), driven))
    known = [step for step in steps if step]
    own = grid_of(signal)
    if own is not None and max(known) == own.step:
        return own
    if known:
        return Grid(spec.low, max(known))
    return Grid(spec.low, EXACT.divide(EXACT.subtract(spec.high, spec.low), Decimal(_FINEST)))
