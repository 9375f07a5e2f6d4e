"""Datagrams in words, by the layouts of the bench file that stands in the journal.

Without a bench file, or for octets that fit no layout, the octets are shown as they are and the
page says why.
"""

from dataclasses import dataclass
from functools import cached_property

from hil.core.error import DescriptionError
from hil.core.event import BenchFile, ConsoleLine, Datagram
from hil.core.instant import Instant
from hil.core.signal import Sample, Signal, Validity
from hil.files.read import read_rack_text
from hil.report.page.coap_decoding import Requests, coap_parts, coap_samples
from hil.wire.console.description import group_of
from hil.wire.console.wording import understood
from hil.wire.diagnosis import diagnose
from hil.wire.dissection import dissect
from hil.wire.encoding import WireError
from hil.wire.layout import Codec
from hil.wire.rack import Carries, Node, Rack, Role

QUIET = (Carries.CONSTANT, Carries.CRC, Carries.PADDING, Carries.NODE, Carries.LENGTH)
"""Fields that say nothing about what a datagram means while they are as declared."""

_NOTHING: Requests = {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One datagram in words: the layout's name, its fields as (name, value), what is wrong."""

    layout: str
    parts: tuple[tuple[str, str], ...]
    wrong: str = ""


class Decoding:
    """Reads the datagrams of a run; `rack` is None where the journal has no bench file."""

    def __init__(self, bench: BenchFile | None) -> None:
        self._bench = bench
        self._codecs: dict[str, list[Codec]] = {}

    @cached_property
    def rack(self) -> Rack | None:
        """The rack as the journal describes it."""
        if self._bench is None:
            return None
        try:
            return read_rack_text(self._bench.text, self._bench.file)
        except DescriptionError:  # a bench file of another version of this tool
            return None

    @cached_property
    def nodes(self) -> dict[str, Node]:
        """The nodes of the rack by name."""
        return {} if self.rack is None else {node.name: node for node in self.rack.nodes}

    @cached_property
    def signals(self) -> dict[str, Signal]:
        """The signals of the rack by their full names."""
        return {} if self.rack is None else self.rack.signals()

    @property
    def coap_nodes(self) -> frozenset[str]:
        """The nodes that speak CoAP."""
        return frozenset(name for name, node in self.nodes.items() if node.coap is not None)

    def samples(self, datagram: Datagram, asked: Requests = _NOTHING) -> list[Sample]:
        """Return what a datagram from a node says about its signals; nothing where it is none.

        `asked` are the requests to CoAP nodes by node and token: a response names no resource.
        """
        payload = octets_of(datagram)
        at = datagram.at
        node = self.nodes.get(datagram.node)
        if node is not None and node.coap is not None:
            return coap_samples(node, datagram, payload, asked)
        for codec in self._of(datagram.node):
            if codec.layout.role is Role.READING and codec.head(payload) is not None:
                return [
                    Sample(signal, value, validity, at, at, note, payload)
                    for signal, value, validity, note in codec.readings(payload)
                    if validity is not Validity.STALE
                ]
        return []

    def line_samples(self, line: ConsoleLine) -> list[Sample]:
        """Return what a line on a node's console says about its signals."""
        node = self.nodes.get(line.node)
        if node is None or node.console is None or line.way != "in":
            return []
        by_group = {group_of(signal.name): signal for signal in node.signals}
        for pattern in node.console.readings:
            match = pattern.fullmatch(line.text)
            if match is not None:
                words = {
                    by_group[k]: v for k, v in match.groupdict().items() if v and k in by_group
                }
                return [_said(node, signal, word, line.at) for signal, word in words.items()]
        return []

    def tell(self, datagram: Datagram) -> Told | None:
        """Return a datagram in words; None where nothing is known about its node's layouts."""
        payload = octets_of(datagram)
        if datagram.node in self.coap_nodes:
            kind, parts, wrong = coap_parts(payload)
            return Told(layout=kind, parts=parts, wrong=wrong)
        wanted = datagram.way == "out"
        codecs = [
            codec
            for codec in self._of(datagram.node)
            if (codec.layout.role is Role.REQUEST) is wanted
        ]
        if not codecs:
            return None
        for codec in codecs:
            if codec.decode(payload) is not None:
                return _told(codec, payload)
        return Told(layout="", parts=(), wrong=diagnose(codecs, payload))

    def _of(self, node: str) -> list[Codec]:
        if node not in self._codecs:
            known = self.nodes.get(node)
            layouts = () if known is None else known.layouts
            self._codecs[node] = [Codec(layout, known) for layout in layouts if known is not None]
        return self._codecs[node]


def _said(node: Node, signal: Signal, word: str, at: Instant) -> Sample:
    value, validity, note = understood(word, signal, node.encodings[signal.name])
    return Sample(signal.path, value, validity, at, at, note)


def octets_of(datagram: Datagram) -> bytes:
    """Return the octets of a datagram; none where its hex is no hex."""
    try:
        return bytes.fromhex(datagram.hex)
    except ValueError:
        return b""


def _told(codec: Codec, payload: bytes) -> Told:
    try:
        parts = dissect(codec, payload)
    except WireError as error:
        return Told(layout=codec.layout.name, parts=(), wrong=str(error))
    return Told(
        layout=codec.layout.name,
        parts=tuple(
            (part.name, part.value)
            for part in parts
            if part.carries not in QUIET and (part.name or part.value)
        ),
        wrong="; ".join(f"{part.name}: {part.wrong}" for part in parts if part.wrong),
    )
