"""`clock`: a node's clock, and what its answers spend where.

    tool   asked ───╮                         ╭──→ arrived         every `read` with its reading
    node            ╰→ taken ─ processing ─→ stamp                 is one exchange
           |outward |                         | return |

From all exchanges together the clock is bounded (hil.measure.clock), so that each stamp has an
instant on the tool's time, and each exchange is split (hil.measure.latency_split).  The node does not
say when it took a request, so the way out is told from the processing only by what is known of it:
`outward`, the longest that it can take.  Judged is the worst exchange of the window.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from hil.core.expectation import Figure
from hil.core.instant import Duration, Instant
from hil.core.meter import Meter
from hil.core.observation import Observation
from hil.core.plan import Expectation
from hil.core.scene import Scene
from hil.core.signal import Kind, Signal
from hil.core.verdict import Outcome
from hil.measure.bound import Bound
from hil.measure.clock import Clock, Exchange, fit_clock
from hil.measure.latency_split import LatencySplit, split_latency
from hil.measure.metering import Metering, doubt, show_between, show_figures
from hil.measure.readings import Reading, Readings
from hil.measure.span import Span, Unmeasured
from hil.wire.rack import Node


class Part(Enum):
    """What is measured, by its key."""

    DRIFT = "drift"
    ROUND_TRIP = "round-trip"
    PROCESSING = "processing"
    RETURN = "return"


@dataclass(frozen=True, slots=True, kw_only=True)
class Clocking:
    """One figure of a node's exchanges, and what it must be, over `window`."""

    node: Node
    part: Part
    bound: Bound
    outward: Duration | None
    window: Duration

    def begin(self, scene: Scene, expectation: Expectation, now: Instant) -> Sequence[Meter]:
        """Return the one meter."""
        return [ClockingMeter(self, scene, expectation)]


class ClockingMeter(Metering):
    """The machine for one figure; it answers for the node's clock as a whole."""

    def __init__(self, measure: Clocking, scene: Scene, expectation: Expectation) -> None:
        signal = Signal(node=measure.node.name, name="clock", kind=Kind.TEXT)
        super().__init__(scene, expectation, signal, (), measure.window)
        self._measure = measure
        self._readings = Readings(measure.node)
        self._asked: list[Instant | None] = []

    def _hear(self, seen: Observation, now: Instant) -> None:
        reading = self._readings.receive(seen)
        if reading is None:
            return
        self._asked.append(self._asked_for(reading))
        if self._start is not None and self._asked[-1] is not None:
            self.seen += 1

    def _asked_for(self, reading: Reading) -> Instant | None:
        """Return when a reading was asked for, where that is certain."""
        exchanges = self._scene.exchanges.get(self._measure.node.name)
        last = exchanges[-1] if exchanges else None
        return last.sent if last is not None and last.at == reading.arrival else None

    def _conclude(self, start: Instant) -> None:
        found = self._measured(start)
        part, bound = self._measure.part, self._measure.bound
        if isinstance(found, Unmeasured):
            said = f"cannot be measured: {found.why}, wanted {self.expectation.wanted}"
            self._decide(Outcome.INCONCLUSIVE, found.why, said)
            return
        low, likely, high, unit = found
        shown = show_between(low, high) if unit == "ns" else show_figures(low, high, unit)
        got, outcome = f"{part.value} {shown}", bound.judge(low, high)
        self._decide(
            outcome,
            got,
            f"had a {got}, wanted {bound.words} in {self.seen} exchanges{doubt(outcome)}",
            margin=bound.margin(low, high),
            figures=(Figure(part.value, low, likely, high, unit),),
        )

    def _measured(self, start: int) -> tuple[float, float, float, str] | Unmeasured:
        exchanges = self._exchanges()
        if isinstance(exchanges, Unmeasured):
            return exchanges
        clock = fit_clock(exchanges, self._readings.tick)
        if isinstance(clock, Unmeasured):
            return clock
        if self._measure.part is Part.DRIFT:
            drift = clock.drift
            return drift.low, drift.likely, drift.high, "ppm"
        spans = self._spans(clock, exchanges, start)
        if isinstance(spans, Unmeasured):
            return spans
        worst = max(spans, key=lambda span: (span.first, span.last))
        longest = max(span.last for span in spans)
        return worst.first, worst.likely, longest, "ns"

    def _exchanges(self) -> list[Exchange] | Unmeasured:
        if self._readings.rebooted:
            return Unmeasured("the node booted in between")
        stamps = self._readings.stamps()
        if len(stamps) < 2:
            return Unmeasured(f"{len(stamps)} stamped readings came")
        tick = self._readings.tick
        return [
            Exchange(
                sent=asked,
                received=reading.arrival,
                stamp=stamp // tick,
            )
            for reading, stamp, asked in zip(self._readings.heard, stamps, self._asked, strict=True)
        ]

    def _spans(
        self, clock: Clock, exchanges: Sequence[Exchange], start: int
    ) -> list[Span] | Unmeasured:
        found = []
        for exchange in exchanges:
            if exchange.sent is None or exchange.sent < start:
                continue
            split = split_latency(
                clock,
                sent=exchange.sent,
                received=exchange.received,
                stamp=exchange.stamp,
                outward=(0, self._measure.outward),
            )
            if isinstance(split, Unmeasured):
                return split
            found.append(self._part(split))
        return found or Unmeasured("nothing was exchanged in the window")

    def _part(self, split: LatencySplit) -> Span:
        match self._measure.part:
            case Part.PROCESSING:
                return split.processing
            case Part.RETURN:
                return split.back
        return Span(split.total, split.total, split.total)
