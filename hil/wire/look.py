"""The samples of one reading, made when somebody looks.

A rack at rest sends hundreds of readings for each one that anybody judges.  So a reading is kept
as its octets, with what was known about it when it came; the same samples can be made of it later.
"""

from collections.abc import Container, Mapping, Sequence

from hil.core.instant import ZERO, Duration, Instant
from hil.core.observation import Samples
from hil.core.signal import Sample, Validity
from hil.wire.layout import Codec
from hil.wire.rack import Node


class Origin:
    """What all readings of one layout have in common.

    `warmups` are the signals of the node that need some time after a boot, `longest` the most.
    """

    __slots__ = ("codec", "longest", "node", "signals", "warmups")

    def __init__(self, codec: Codec, node: Node) -> None:
        self.codec = codec
        self.node = node.name
        self.signals = codec.signals
        self.warmups: Mapping[str, Duration] = {
            signal.path: signal.warmup for signal in node.signals if signal.warmup
        }
        self.longest = max(self.warmups.values(), default=ZERO)


class Look(Samples):
    """One reading.  `note` is what is odd about the datagram, `booted` when its node booted."""

    __slots__ = ("_at", "_booted", "_made", "_note", "_origin", "_raw", "_since")

    def __init__(
        self,
        origin: Origin,
        raw: bytes,
        since: Instant,
        at: Instant,
        note: str,
        booted: Instant | None,
    ) -> None:
        self.node = origin.node
        self.signals = origin.signals
        self._origin = origin
        self._raw = raw
        self._since = since
        self._at = at
        self._note = note
        self._booted = booted
        self._made: Sequence[Sample] | None = None

    @property
    def samples(self) -> Sequence[Sample]:
        if self._made is None:
            self._made = self.of(self.signals)
        return self._made

    def of(self, wanted: Container[str]) -> Sequence[Sample]:
        raw, since, at = self._raw, self._since, self._at
        samples = [
            Sample(signal, value, validity, since, at, note, raw)
            for signal, value, validity, note in self._origin.codec.readings(raw)
            if signal in wanted
        ]
        if self._booted is not None and at < self._booted + self._origin.longest:
            self._warm_up(samples, self._booted)
        if self._note:
            for sample in samples:
                sample.note = f"{sample.note}; {self._note}" if sample.note else self._note
        return samples

    def _warm_up(self, samples: list[Sample], booted: Instant) -> None:
        warmups = self._origin.warmups
        for sample in samples:
            if sample.at < booted + warmups.get(sample.signal, ZERO):
                sample.validity = Validity.STALE
                sample.note = "warming up"
