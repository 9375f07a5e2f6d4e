"""The samples of one payload, made when somebody looks (see hil.wire.look)."""

from collections.abc import Container, Mapping, Sequence

from hil.core.instant import ZERO, Duration, Instant
from hil.core.observation import Samples
from hil.core.signal import Sample, Signal, Validity
from hil.wire.coap.description import Part, Resource
from hil.wire.coap.payload import Content
from hil.wire.coap.value import read_part
from hil.wire.rack import Encoding, Node


class Origin:
    """What all payloads of one resource have in common."""

    __slots__ = ("node", "parts", "signals", "warmups")

    def __init__(self, resource: Resource, node: Node) -> None:
        by_name = {signal.name: signal for signal in node.signals}
        self.node = node.name
        self.parts: Sequence[tuple[Signal, Encoding, Part]] = [
            (by_name[name], node.encodings[name], part) for name, part in resource.signals.items()
        ]
        self.signals = tuple(signal.path for signal, _, _ in self.parts)
        self.warmups: Mapping[str, Duration] = {
            signal.path: signal.warmup for signal, _, _ in self.parts if signal.warmup
        }


class Report(Samples):
    """One payload.  `doubt` is why its values do not count; `booted` when its node booted."""

    __slots__ = ("_at", "_booted", "_content", "_doubt", "_made", "_origin", "_raw", "_since")

    def __init__(
        self,
        origin: Origin,
        content: Content,
        since: Instant,
        at: Instant,
        raw: bytes,
        booted: Instant | None,
        doubt: str = "",
    ) -> None:
        self.node = origin.node
        self.signals = origin.signals
        self._origin, self._content, self._raw = origin, content, raw
        self._since, self._at, self._booted, self._doubt = since, at, booted, doubt
        self._made: Sequence[Sample] | None = None

    @property
    def samples(self) -> Sequence[Sample]:
        if self._made is None:
            self._made = self.of(self.signals)
        return self._made

    def of(self, wanted: Container[str]) -> Sequence[Sample]:
        samples = []
        for signal, encoding, part in self._origin.parts:
            if signal.path in wanted:
                _, value, validity, note = read_part(self._content, part, signal, encoding)
                sample = Sample(
                    signal.path, value, validity, self._since, self._at, note, self._raw
                )
                self._doubt_it(sample)
                samples.append(sample)
        return samples

    def _doubt_it(self, sample: Sample) -> None:
        if self._doubt:
            sample.validity, sample.note = Validity.STALE, self._doubt
        warmup = self._origin.warmups.get(sample.signal, ZERO)
        if self._booted is not None and sample.at < self._booted + warmup:
            sample.validity, sample.note = Validity.STALE, "warming up"
