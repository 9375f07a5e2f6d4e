"""The `signals` of a node in a bench file."""

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from hil.core.instant import ZERO, Duration
from hil.core.signal import EXACT, Kind, Signal
from hil.files.accuracy_file import read_accuracy, read_difference, worst_accuracy
from hil.files.bench_shape import RAW_RANGE, SENTINELS, SIGNAL, UNIT
from hil.files.fit import check_field
from hil.files.grid import reading_fields
from hil.files.label_file import read_labels
from hil.files.leaf import DURATION, FLAG, NUMBER, RANGE
from hil.files.mistake import Misread, Page
from hil.files.quantity import split_range, value_in
from hil.files.scalar import read_whole
from hil.files.tree import Node
from hil.files.unit import read_unit
from hil.wire.rack import Encoding, Field, Layout


class SignalText:
    """One signal, read as far as it stands alone; its drive waits for the node's other signals.

    It is `sound` where its values can be told from the raw numbers; `ranged` where a range is
    declared, also one that could not be read.
    """

    __slots__ = ("drive", "encoding", "fields", "operation", "place", "ranged", "signal", "sound")

    def __init__(
        self, signal: Signal, encoding: Encoding, fields: list[tuple[Field, int]], place: Node
    ) -> None:
        self.signal = signal
        self.encoding = encoding
        self.fields = fields
        self.place = place
        self.drive: Node | None = None
        self.operation: int | None = None
        self.sound = True
        self.ranged = False


def read_signal(
    node_name: str,
    name: str,
    node: Node,
    layouts: tuple[Layout, ...],
    poll: Duration | None,
    page: Page,
    *,
    said: bool = False,
) -> SignalText | None:
    """Return one signal without its drive; None where its kind cannot be read.

    `said` where readings carry it that have no layout.
    """
    keys = SIGNAL.open(node, page)
    if keys is None:
        return None
    reader = _SignalReader(keys, page)
    kind = reader.kind()
    if kind is None:
        return None
    unit = reader.unit() if kind is Kind.NUMBER else ""
    if unit is None:
        return None
    low, high = reader.range(unit)
    labels = read_labels(keys["labels"], page) if kind is Kind.LABEL else {}
    encoding = reader.encoding(labels, low, high)
    fields = reading_fields(layouts, name)
    whole = fields and all(field.form[0] in "ui" for field, _ in fields)
    resolution = EXACT.abs(encoding.scale) if kind is Kind.NUMBER and whole else None
    parts = None
    if "accuracy" in keys and unit:
        parts = read_accuracy(keys["accuracy"], unit, (low, high), resolution, page)
    signal = Signal(
        node=node_name,
        name=name,
        kind=kind,
        unit=unit,
        low=low,
        high=high,
        resolution=resolution,
        accuracy=None if parts is None else worst_accuracy(parts, low, high, resolution),
        accuracy_parts=parts,
        noise=reader.difference("noise", unit) or Decimal(0),
        binary32=any(field.form == "f32" for field, _ in fields),
        labels=tuple(labels.values()),
        sensed=bool(fields) or said,
        sampling=reader.sampling(poll),
        stale_after=reader.duration("stale-after"),
        warmup=reader.duration("warm-up") or ZERO,
    )
    found = SignalText(signal, encoding, fields, node)
    found.drive = keys.get("drive")
    found.sound, found.ranged = reader.sound, "range" in keys
    for field, width in fields if found.sound else ():
        check_field(signal, encoding, field, width, node, page)
    if not (fields or said) and found.drive is None:
        page.wrong(node, f"{signal.path} is in no reading of its node and cannot be driven")
    return found


class _SignalReader:
    """Reads the single keys of one signal."""

    def __init__(self, keys: dict[str, Node], page: Page) -> None:
        self.keys = keys
        self.page = page
        self.sound = True

    def kind(self) -> Kind | None:
        keys = self.keys
        if "unit" in keys:
            return Kind.NUMBER
        if "labels" in keys:
            return Kind.LABEL
        if "text" in keys:
            if FLAG.read(keys["text"], self.page, "text") is False:
                self.page.wrong(keys["text"], "text: expected `yes`, got `no`", "leave it out")
            return Kind.TEXT
        return None

    def unit(self) -> str | None:
        unit = UNIT.read(self.keys["unit"], self.page, "unit")
        if unit is None:
            return None
        try:
            read_unit(unit)
        except Misread as misread:
            self.page.wrong(self.keys["unit"], f"unit: {misread.what}", misread.hint)
            return None
        return unit

    def range(self, unit: str) -> tuple[Decimal | None, Decimal | None]:
        text = RANGE.at(self.keys, "range", self.page)
        if text is None or not unit:
            return None, None
        try:
            low, high = (value_in(end, unit) for end in split_range(text))
        except Misread as misread:
            self.page.wrong(self.keys["range"], f"range: {misread.what}", misread.hint)
            return None, None
        if low >= high:
            self.page.wrong(self.keys["range"], "range: the first end must be below the second")
            return None, None
        return low, high

    def difference(self, key: str, unit: str) -> Decimal | None:
        if key not in self.keys or not unit:
            return None
        return read_difference(self.keys[key], unit, key, self.page)

    def duration(self, key: str) -> Duration | None:
        return DURATION.at(self.keys, key, self.page)

    def sampling(self, poll: Duration | None) -> Duration | None:
        node = self.keys.get("sampling")
        if node is None or getattr(node, "text", None) == "each change":
            return poll if node is None else None
        length = DURATION.read(node, self.page, "sampling")
        if length == 0:
            self.page.wrong(node, "sampling: 0 s is no time between two looks", "each change")
        return length

    def encoding(
        self, labels: dict[int, str], low: Decimal | None, high: Decimal | None
    ) -> Encoding:
        scale = self._number("scale", Decimal(1))
        offset = self._number("offset", Decimal(0))
        if scale == 0:
            self.page.wrong(self.keys["scale"], "scale: 0 would make all values the same")
            self.sound, scale = False, Decimal(1)
        ends = [
            None if end is None else EXACT.divide(EXACT.subtract(end, offset), scale)
            for end in ((low, high) if scale > 0 else (high, low))
        ]
        raw_low = None if ends[0] is None else _rounded(ends[0], ROUND_CEILING)
        raw_high = None if ends[1] is None else _rounded(ends[1], ROUND_FLOOR)
        if labels:
            raw_low, raw_high = min(labels), max(labels)
        return Encoding(
            scale=scale,
            offset=offset,
            sentinels=self._sentinels(labels, raw_low, raw_high),
            low=None if labels else raw_low,
            high=None if labels else raw_high,
            labels=labels,
        )

    def _number(self, key: str, default: Decimal) -> Decimal:
        number = NUMBER.at(self.keys, key, self.page)
        self.sound = self.sound and (number is not None or key not in self.keys)
        return default if number is None else number

    def _sentinels(
        self, labels: dict[int, str], low: int | None, high: int | None
    ) -> tuple[tuple[int, int], ...]:
        if "sentinels" not in self.keys:
            return ()
        entries = SENTINELS.open(self.keys["sentinels"], self.page)
        spans = []
        for entry in entries:
            span = self._sentinel(entry)
            if span is None:
                continue
            if any(span[0] <= raw <= span[1] for raw in labels):
                self.page.wrong(entry, "a sentinel is also the raw number of a label")
            spans.append(span)
        return tuple(spans)

    def _sentinel(self, node: Node) -> tuple[int, int] | None:
        text = RAW_RANGE.read(node, self.page, "sentinels")
        if text is None:
            return None
        try:
            ends = split_range(text) if " to " in text else (text, text)
            low, high = (read_whole(end) for end in ends)
        except Misread as misread:
            self.page.wrong(node, f"sentinels: {misread.what}", misread.hint)
            return None
        if low > high:
            self.page.wrong(node, "sentinels: the first end must not be above the second")
            return None
        return low, high


def _rounded(value: Decimal, rounding: str) -> int:
    return int(value.to_integral_value(rounding=rounding, context=EXACT))
