"""The codec of one layout: octets to values and back, compiled once.

    decode(payload)            Decoded, or None where these octets are not this layout
    head(payload)              the same without readings, which `readings(payload)` returns later
    encode(values, node=…, …)  the octets; WireError where a value has no exact raw number

Lengths are exact.  Where `append_allowed`, the known part of a longer datagram is decoded and
`Decoded.note` says so; the CRC may then stand at its declared place or at the end.  What is wrong
with octets that are no layout at all is the business of hil.wire.diagnosis.

The same codec serves both ends: the links decode readings and answers and encode requests, the
software nodes do it the other way round.
"""

import struct
from collections.abc import Callable, Mapping
from decimal import Decimal
from functools import lru_cache
from types import CodeType, MappingProxyType
from typing import Any

from hil.core.signal import Kind, Signal, Value
from hil.wire.appended import belongs, constant_of
from hil.wire.crc import calculator
from hil.wire.decoded import Decoded, Head
from hil.wire.encoding import Counts, Raw, Reading, Readings, WireError
from hil.wire.frame import Frame, Place
from hil.wire.rack import Carries, Encoding, Layout, Node
from hil.wire.source import Source, head_words

_NOTHING: Mapping[str, Value | None] = MappingProxyType({})
_PLAIN = Encoding()


class Codec:
    """A layout, compiled for one node.

    `size` is the exact length; `sequence_span`, `boots_span`, `uptime_span` (nanoseconds) and
    `request_span` are where those counts wrap, 0 where the layout has no such field.  `signals`
    are the full names of the signals it carries, `source` is the Python text of its functions.
    Raises WireError for a layout that no octets can have.
    """

    def __init__(self, layout: Layout, node: Node) -> None:
        self.layout = layout
        self.node = node
        self.frame = Frame(layout.fields)
        self.size = self.frame.size
        self.places = tuple(self.frame.places)
        self._signals: dict[str, Signal] = {signal.name: signal for signal in node.signals}
        self._driven = {operation: name for name, operation in node.operations.items()}
        self.source = Source(self.frame, layout.name).text()
        names = self._names()
        exec(_compiled(self.source, layout.name), names)
        self.decode: Callable[[bytes], Decoded | None] = names["decode"]
        self.known: Callable[[bytes], Decoded] = names["known"]
        self.head: Callable[[bytes], Head | None] = names["head"]
        self._readings: Callable[[bytes], tuple[Reading, ...]] = names["readings"]
        self._encode: Callable[..., bytes] = names["encode"]
        self.restamp: Callable[[bytes, int, int], bytes] | None = names["restamp"]
        """Puts another sequence number and uptime into a reading; see hil.wire.source."""
        self.request_span = self._span(Carries.REQUEST)
        self.sequence_span = self._span(Carries.SEQUENCE)
        self.boots_span = self._span(Carries.BOOTS)
        uptime = self.place(Carries.UPTIME)
        self.uptime_span = self._span(Carries.UPTIME) * (uptime.field.tick if uptime else 0)
        value = self.place(Carries.VALUE)
        textual = value is not None and value.form.kind in ("text", "bytes")
        self._suited = [
            kind for kind in Kind if value is not None and textual == (kind is Kind.TEXT)
        ]
        self.signals = tuple(
            self._path(place.field.name)
            for place in self.places
            if place.field.carries is Carries.SIGNAL
        )

    def encode(
        self,
        values: Mapping[str, Value | None] = _NOTHING,
        *,
        node: int | None = None,
        sequence: int = 0,
        request: int = 0,
        operation: int = 0,
        status: int = 0,
        uptime: int = 0,
        boots: int = 0,
        value: Value | int | None = 0,
    ) -> bytes:
        """Encode one datagram.

        `values` are the signals (all of them; None says that there is no measurement) and the
        plain fields (0 or empty where not given), by their names in the layout.  `uptime` is in
        nanoseconds; it, `sequence` and `boots` wrap.  `value` is that of the signal which
        `operation` drives, in its unit.  Raises WireError.
        """
        number = self.node.number if node is None else node
        return self._encode(
            values, number, sequence, request, operation, status, uptime, boots, value
        )

    def readings(self, payload: bytes) -> tuple[Reading, ...]:
        """Return what a datagram says about signals, after `head` has found it good."""
        return self._readings(payload[: self.size])

    def plain(self, payload: bytes) -> dict[str, Value]:
        """Return the plain fields of a datagram, after `head` has found it good."""
        return self.known(payload[: self.size]).plain

    def place(self, carries: Carries) -> Place | None:
        """Return the place of the first field that carries this."""
        return next((place for place in self.places if place.field.carries is carries), None)

    def suits(self, kind: Kind) -> bool:
        """Say whether the value field can carry such a signal: text in text, else in a number."""
        return kind in self._suited

    def signal_named(self, name: str) -> Signal | None:
        """Return the node's declaration of a signal."""
        return self._signals.get(name)

    def encoding(self, name: str) -> Encoding:
        """Return how the node encodes a signal."""
        return self.node.encodings.get(name, _PLAIN)

    def readings_at(self, place: Place, name: str) -> Readings:
        """Return the table from raw numbers at a place to what they say about a signal."""
        return Readings(self._path(name), self.signal_named(name), self.encoding(name), place.form)

    def nearest(self, name: str, value: Decimal) -> Decimal:
        """Return the value nearest to `value` that this layout can carry for signal `name`."""
        for place in self.places:
            if place.field.carries is Carries.SIGNAL and place.field.name == name:
                return Counts(name, self.encoding(name), place.form).nearest(value)
        raise WireError(f"{self.layout.name}: does not carry {name}")

    def _path(self, name: str) -> str:
        return f"{self.node.name}.{name}"

    def _span(self, carries: Carries) -> int:
        place = self.place(carries)
        return 0 if place is None else 1 << place.form.bits

    def _names(self) -> dict[str, Any]:
        """Bind the names that the generated source uses."""
        names: dict[str, Any] = {
            "Decoded": Decoded,
            "Head": Head,
            "WireError": WireError,
            "fit": _fit,
            "longer": self._longer if self.layout.append_allowed else _refuse,
            "longer_head": self._longer_head if self.layout.append_allowed else _refuse,
            "new": tuple.__new__,
            "pack": self.frame.pack if self.frame.spreads else self.frame.struct.pack,
            "struct_error": struct.error,
            "unpack": self.frame.unpack if self.frame.spreads else self.frame.struct.unpack,
            "unpack_head": self.frame.reader(head_words(self.frame)),
        }
        for index, place in enumerate(self.places):
            self._bind(names, index, place)
        return names

    def _bind(self, names: dict[str, Any], index: int, place: Place) -> None:
        field = place.field
        match field.carries:
            case Carries.CONSTANT:
                names[f"k{index}"] = constant_of(field)
            case Carries.SIGNAL:
                names[f"t{index}"] = self.readings_at(place, field.name)
                names[f"c{index}"] = Counts(field.name, self.encoding(field.name), place.form)
            case Carries.PLAIN:
                encoding = Encoding(labels=field.labels)
                names[f"t{index}"] = _PlainValues(Readings("", None, encoding, place.form))
                names[f"c{index}"] = Counts(field.name, encoding, place.form)
                text = place.form.kind in ("text", "bytes")
                names[f"d{index}"] = "" if text else Decimal(0)
            case Carries.CRC:
                if field.crc is None:
                    raise WireError(f"{self.layout.name}: {field.name} names no CRC")
                names[f"crc{index}"] = calculator(field.crc)
            case Carries.VALUE:
                names[f"about{index}"] = self._about(place)
                names[f"counts{index}"] = self._counts(place)

    def _about(self, place: Place) -> Callable[[int | None, Raw], tuple[Reading, ...]]:
        """Return the function from operation and raw number to what is said about its signal."""
        tables = {op: self.readings_at(place, name) for op, name in self._driven.items()}

        def about(operation: int | None, raw: Raw) -> tuple[Reading, ...]:
            table = tables.get(operation) if operation is not None else None
            return () if table is None else (table[raw],)

        return about

    def _counts(self, place: Place) -> Callable[[int], Counts]:
        """Return the function from operation to the table of its signal's raw numbers."""
        tables = {
            op: Counts(name, self.encoding(name), place.form) for op, name in self._driven.items()
        }
        plain = Counts(place.field.name, _PLAIN, place.form)
        return lambda operation: tables.get(operation, plain)

    def _longer(self, payload: bytes) -> Decoded | None:
        """Decode the known part of a datagram of another size, where the layout allows it."""
        extra = len(payload) - self.size
        if extra <= 0:
            return None
        head = payload[: self.size]
        for place, raw in zip(self.places, self.frame.raws(head), strict=True):
            if not belongs(place, raw, payload, self.size):
                return None
        text = f"{extra} octet{'s' * (extra > 1)} more than the layout, not looked at"
        return self.known(head)._replace(note=text)

    def _longer_head(self, payload: bytes) -> Head | None:
        decoded = self._longer(payload)
        return None if decoded is None else decoded.head(decoded.sequence)


class _PlainValues(dict[Raw, Value]):
    """The table from raw numbers of a plain field to its value: a label, a number, a text."""

    def __init__(self, readings: Readings) -> None:
        super().__init__()
        self._readings = readings

    def __missing__(self, raw: Raw) -> Value:
        reading = self._readings[raw]
        if reading.value is not None:
            return reading.value
        return Decimal(raw) if isinstance(raw, int) else reading.note


@lru_cache(maxsize=256)
def _compiled(source: str, name: str) -> CodeType:
    """Compile the functions of a layout, once for all nodes that have the same."""
    return compile(source, f"<layout {name}>", "exec")


def _refuse(payload: bytes) -> None:
    """Take no datagram of another size than the layout's."""


def _fit(name: str, number: int, low: int, high: int) -> int:
    if not low <= number <= high:
        raise WireError(f"{name}: {number} does not fit into {low} to {high}")
    return number
