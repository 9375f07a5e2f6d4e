"""Reading `coap` under one signal of a bench file."""

from dataclasses import replace

from hil.core.instant import Duration
from hil.core.signal import Kind
from hil.files.coap_shape import COAP_SIGNAL, PUT, SUFFIX, WRITTEN, read_length
from hil.files.coap_spot import Shared, Spot, read_spot
from hil.files.coap_unit import senml_units
from hil.files.leaf import FLAG, TITLE
from hil.files.mistake import Page
from hil.files.signal_file import SignalText
from hil.files.tree import Map, Node, Scalar
from hil.wire.coap.description import Format, Part, Written

_FOR = {
    "suffix": Kind.NUMBER,
    "binary32": Kind.NUMBER,
    "record-unit": Kind.NUMBER,
    "labels-as": Kind.LABEL,
}
"""Keys that only one kind of signal can have."""

_FIRST = {"suffix": (Format.TEXT,), "binary32": (Format.CBOR, Format.SENML_CBOR)}
"""Keys that only some formats can have."""


class CoapSignalText:
    """The `coap` of one signal: where it is read, and where it is put (None: nowhere)."""

    __slots__ = ("_page", "keys", "name", "observe", "place", "poll", "put", "read")

    def __init__(
        self,
        name: str,
        keys: dict[str, Node],
        place: Node,
        driven: bool,
        observe: bool,
        poll: Duration | None,
        page: Page,
    ) -> None:
        """`observe` and `poll` are what the node says."""
        self.name, self.keys, self.place, self._page = name, keys, place, page
        own = FLAG.at(keys, "observe", page)
        self.observe = observe if own is None else own
        self.poll = read_length(keys, "poll", page) if "poll" in keys else poll
        self.read = read_spot(keys, place, page) if "path" in keys else None
        self.put = self._put() if "put" in keys else self.read if driven else None

    def _put(self) -> Spot | None:
        """Return where it is driven; a path alone is one of the signal's own format."""
        node = self.keys["put"]
        if type(node) is not Map:
            inherited = {key: self.keys[key] for key in _SAME if key in self.keys}
            return read_spot({**inherited, "path": node}, node, self._page)
        keys = PUT.open(node, self._page)
        return None if keys is None else read_spot(keys, node, self._page)

    def share(self, text: SignalText, shared: Shared) -> None:
        """Check what needs the signal itself, and put it where it is read and driven."""
        page, keys, signal = self._page, self.keys, text.signal
        if "put" in keys and text.drive is None:
            page.wrong(keys["put"], f"put: {self.name} has no `drive`")
        for key, kind in _FOR.items():
            if key in keys and signal.kind is not kind:
                what = f"{key}: {self.name} is a {signal.kind.value}, this is for a {kind.value}"
                page.wrong(keys[key], what)
        spots = [spot for spot in (self.read, self.put) if spot is not None]
        for key, forms in _FIRST.items():
            if key in keys and spots and all(spot.format not in forms for spot in spots):
                words = " and ".join(form.value for form in forms)
                page.wrong(keys[key], f"{key}: this is for {words}")
        part = self._part(text)
        if part.binary32:
            text.signal = replace(signal, binary32=True)
        if self.read is not None:
            shared.add_signal(self.name, self.read, part, self.observe, self.poll)
        if self.put is not None and text.drive is not None:
            shared.add_target(self.name, self.put, part)

    def _part(self, text: SignalText) -> Part:
        """Return how the value is written, wherever it stands."""
        keys, page = self.keys, self._page
        word = WRITTEN.at(keys, "labels-as", page)
        written = Written.WORD if word is None else Written(word)
        if written is Written.BOOLEAN and set(text.encoding.labels) != {0, 1}:
            what = f"labels-as: {self.name} needs the raw numbers 0 and 1 to be a boolean"
            page.wrong(keys["labels-as"], what)
        return Part(
            suffix=SUFFIX.at(keys, "suffix", page) or "",
            units=self._units(text),
            written=written,
            binary32=bool(FLAG.at(keys, "binary32", page)),
        )

    def _units(self, text: SignalText) -> tuple[str, ...]:
        """Return the SenML units that the signal's record may have; none where any will do."""
        unit = TITLE.at(self.keys, "record-unit", self._page)
        if unit is not None:
            return (unit,)
        signal, encoding = text.signal, text.encoding
        as_is = encoding.scale == 1 and encoding.offset == 0
        if signal.kind is not Kind.NUMBER or not as_is:
            return ()
        found = senml_units(signal.unit)
        if not found and self.read is not None and self.read.format.is_senml:
            what = f"{self.name}: no unit of SenML means {signal.unit}"
            self._page.wrong(self.place, what, "record-unit: Pa, and its `scale`")
        return found


_SAME = ("format", "pointer", "record")


def open_signal(
    name: str, signal: Node, observe: bool, poll: Duration | None, page: Page
) -> CoapSignalText | None:
    """Return the `coap` of a signal of a CoAP node; None, noted, where it has none."""
    if type(signal) is not Map:
        return None
    if "coap" not in signal.pairs:
        what = f"{name} lacks the key `coap`: where the node has it"
        page.wrong(signal, what, f"coap: {name}")
        return None
    place = signal.pairs["coap"][1]
    keys: dict[str, Node] | None = {"path": place}
    if type(place) is not Scalar:
        keys = COAP_SIGNAL.open(place, page)
    if keys is None:
        return None
    return CoapSignalText(name, keys, place, "drive" in signal.pairs, observe, poll, page)
