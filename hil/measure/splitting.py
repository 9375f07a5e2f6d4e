"""`processing` and `return`: where the response time of an expectation went.

    tool      stimulus left ──╮                              ╭──→ response arrived
    rack                      ╰→ taken ── processing ──→ stamp
              |    outward    |                              | return |

The response is the first reading since the stimulus that shows what is wanted.  It carries the time
of the node that sent it; the exchanges with that node, those from before the step too, bound its
clock (hil.measure.clock), so that the stamp has an instant on the tool's time, which lies between
two.  Processing is everything between the arrival of the stimulus and that instant: also the work of
other nodes that took part, and what they said to each other.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from hil.core.condition import Grade, grader
from hil.core.expectation import Figure
from hil.core.instant import Duration, Instant, show_duration
from hil.core.meter import Meter
from hil.core.observation import Exchanged, NodeNote, NodeTrouble, Observation
from hil.core.plan import Expectation
from hil.core.scene import Scene
from hil.core.signal import Sample, Signal
from hil.core.verdict import Outcome
from hil.measure.bound import Bound
from hil.measure.clock import Exchange, fit_clock
from hil.measure.counter import unwrap
from hil.measure.latency_split import LatencySplit, split_latency
from hil.measure.metering import Metering, doubt, show_between
from hil.measure.span import Unmeasured
from hil.wire.layout import Codec
from hil.wire.rack import Carries, Node, Role


class Share(Enum):
    """Which part of a response time is judged, by its key."""

    PROCESSING = "processing"
    RETURN = "return"


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseSplit:
    """One part of a response time, and what it must be; `outward` is the longest way out."""

    node: Node
    share: Share
    bound: Bound
    outward: Duration | None
    window: Duration

    def begin(self, scene: Scene, expectation: Expectation, now: Instant) -> Sequence[Meter]:
        """Return one meter for each signal."""
        return [
            SplitMeter(self, scene, expectation, scene.signals[path])
            for path in expectation.signals
        ]


class SplitMeter(Metering):
    """The machine for one signal."""

    def __init__(
        self, measure: ResponseSplit, scene: Scene, expectation: Expectation, signal: Signal
    ) -> None:
        super().__init__(scene, expectation, signal, (signal.path,), measure.window)
        self._measure = measure
        self._grade = grader(expectation.condition)
        self._response: Sample | None = None
        self._rebooted = False

    def _hear(self, seen: Observation, now: Instant) -> None:
        if isinstance(seen, NodeNote) and seen.node == self.signal.node:
            self._rebooted |= seen.trouble is NodeTrouble.REBOOT
        super()._hear(seen, now)

    def _take(self, sample: Sample, now: Instant) -> None:
        if self._start is None or self._response is not None or sample.since < self._start:
            return
        if self._grade(sample) is Grade.GOOD:
            self._response = sample

    def _conclude(self, start: Instant) -> None:
        found = self._split(start)
        share, bound = self._measure.share, self._measure.bound
        if isinstance(found, Unmeasured):
            said = f"cannot be split: {found.why}, wanted {self.expectation.wanted}"
            self._decide(Outcome.INCONCLUSIVE, found.why, said)
            return
        span = found.processing if share is Share.PROCESSING else found.back
        low, likely, high = span.first, span.likely, span.last
        total, shown = show_duration(Duration(found.total)), show_between(low, high)
        outcome = bound.judge(low, high)
        self._decide(
            outcome,
            f"{share.value} {shown}",
            f"answered after {total}, of which {share.value} {shown}, wanted {bound.words}"
            f"{doubt(outcome)}",
            margin=bound.margin(low, high),
            figures=(Figure(share.value, low, likely, high, "ns"),),
            decided=self._response,
        )

    def _split(self, start: Instant) -> LatencySplit | Unmeasured:
        response = self._response
        if response is None:
            return Unmeasured("there was no response")
        if self._rebooted:
            return Unmeasured(f"{self.signal.node} booted in between")
        stamp = self._stamp(response.raw)
        exchanges = list(self._scene.exchanges.get(self.signal.node, ()))
        if stamp is None or not exchanges:
            return Unmeasured(f"no exchange with {self.signal.node} told its time")
        one = exchanges[0]
        if stamp[1:] != (one.span, one.tick) or any(
            (each.span, each.tick) != (one.span, one.tick) for each in exchanges
        ):
            return Unmeasured(f"{self.signal.node} counts its time differently in its datagrams")
        heard, count = _unwrapped(exchanges, stamp[0], response.at)
        clock = fit_clock(heard, one.tick)
        if isinstance(clock, Unmeasured):
            return clock
        return split_latency(
            clock,
            sent=start,
            received=response.at,
            stamp=count,
            outward=(0, self._measure.outward),
        )

    def _stamp(self, raw: bytes) -> tuple[int, int, int] | None:
        """Return the stamp of a reading with its span and tick, all in nanoseconds."""
        for layout in self._measure.node.layouts:
            if layout.role is not Role.READING:
                continue
            codec = Codec(layout, self._measure.node)
            decoded, place = codec.decode(raw), codec.place(Carries.UPTIME)
            if decoded is not None and decoded.uptime is not None and place is not None:
                return decoded.uptime, codec.uptime_span, place.field.tick
        return None


def _unwrapped(
    exchanges: Sequence[Exchanged], stamp: int, at: Instant
) -> tuple[list[Exchange], int]:
    """Return exchanges in counts that go on beyond the wrap, and the response's stamp as one."""
    tick, span = exchanges[0].tick, exchanges[0].span
    counts = unwrap(
        [*(each.stamp // tick for each in exchanges), stamp // tick],
        (span // tick).bit_length() - 1,
        instants=[*(each.at for each in exchanges), at],
        tick=tick,
    )
    heard = [
        Exchange(sent=each.sent, received=each.at, stamp=count)
        for each, count in zip(exchanges, counts, strict=False)
    ]
    return [*heard, Exchange(sent=None, received=at, stamp=counts[-1])], counts[-1]
