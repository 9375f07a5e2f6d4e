"""The readings of one node as a stream of packets: what was lost, doubled, overtaken, delayed.

    number    the node's own count of its readings, unwrapped     is: sequence
    stamp     the node's own time when it sent                    is: uptime
    arrival   when the tool received it

What the tool has to take for a duplicate or for late arrives as a note, what is new as samples; both
carry the datagram, and the counters are read from that.  The node's clock is not the tool's: what is
called a delay here is off by a constant, and by its drift over the window.
"""

from dataclasses import dataclass

from hil.core.instant import Duration
from hil.core.observation import NodeNote, NodeTrouble, Observation, Samples
from hil.measure.counter import unwrap
from hil.wire.layout import Codec
from hil.wire.rack import Carries, Node, Role

_REPEATED = (NodeTrouble.DUPLICATE, NodeTrouble.STRAY)


@dataclass(frozen=True, slots=True)
class Reading:
    """One datagram: number and stamp (nanoseconds) as sent, None where its layout has none."""

    number: int | None
    stamp: int | None
    boots: int | None
    since: int
    arrival: int


class Readings:
    """Hears one node; `tick` is one count of its stamps, in nanoseconds."""

    def __init__(self, node: Node) -> None:
        self.node = node
        layouts = [layout for layout in node.layouts if layout.role is Role.READING]
        self._codecs = [Codec(layout, node) for layout in layouts]
        self._spans: dict[str, int] = {}
        self.tick = Duration(max((_tick(codec) for codec in self._codecs), default=0))
        self.heard: list[Reading] = []

    def receive(self, seen: Observation) -> Reading | None:
        """Take in a reading, or a repeated one; return it."""
        if isinstance(seen, Samples) and seen.node == self.node.name and seen.samples:
            first = seen.samples[0]
            return self._take(first.raw, first.since, first.at)
        if isinstance(seen, NodeNote) and seen.node == self.node.name and seen.trouble in _REPEATED:
            return self._take(seen.raw, seen.at, seen.at)
        return None

    def _take(self, raw: bytes, since: int, at: int) -> Reading | None:
        for codec in self._codecs:
            decoded = codec.decode(raw) if raw else None
            if decoded is not None:
                self._spans = {"number": codec.sequence_span, "stamp": codec.uptime_span}
                reading = Reading(decoded.sequence, decoded.uptime, decoded.boots, since, at)
                self.heard.append(reading)
                return reading
        return None

    @property
    def rebooted(self) -> bool:
        """Whether the node booted in between, which begins all counts anew."""
        return len({reading.boots for reading in self.heard}) > 1

    def numbers(self) -> list[int]:
        """Return the unwrapped numbers in the order of arrival; empty where there are none."""
        raw = [reading.number for reading in self.heard]
        return _unwrapped(raw, self._spans.get("number", 0))

    def stamps(self) -> list[int]:
        """Return the unwrapped stamps in the order of arrival; empty where there are none."""
        raw = [reading.stamp for reading in self.heard]
        if not self.tick:
            return []
        span = self._spans.get("stamp", 0) // self.tick
        counts = [None if stamp is None else stamp // self.tick for stamp in raw]
        return [count * self.tick for count in _unwrapped(counts, span)]


def _unwrapped(raw: list[int | None], span: int) -> list[int]:
    counts = [count for count in raw if count is not None]
    if len(counts) < len(raw) or span < 2:
        return []
    return unwrap(counts, span.bit_length() - 1)


def _tick(codec: Codec) -> int:
    place = codec.place(Carries.UPTIME)
    return 0 if place is None else place.field.tick
