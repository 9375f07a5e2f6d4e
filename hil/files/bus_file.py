"""Reading the `bus` of a bench file: who is on the segment, its timers, its cable, its traffic."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from hil.core.error import Mark
from hil.core.signal import Kind, Signal
from hil.files.bus_shape import (
    BUS,
    CABLE,
    COUNTERS,
    LENGTH,
    NOISE,
    PARTICIPANT,
    PARTICIPANTS,
    PLACES,
    RATE,
)
from hil.files.bus_traffic import read_traffic
from hil.files.leaf import DOTTED, FLAG, NAME, NUMBER, WHOLE
from hil.files.mistake import Misread, Page, nearest, show
from hil.files.quantity import value_in
from hil.files.shape import Leaf
from hil.files.tree import Node
from hil.wire.rack import Node as RackNode
from hil.wire.segment import (
    DEFAULT_BURST_TIMER,
    DEFAULT_COUNT,
    DEFAULT_RATE,
    DEFAULT_TO_TIMER,
    TOOL,
    Bus,
    Cable,
    Diagnosis,
    Participant,
    Segment,
)

Fields = dict[str, Node]


def read_bus(place: Node, nodes: Sequence[RackNode], page: Page) -> Bus | None:
    """Return the bus; None, with the mistakes noted, where it cannot be read."""
    keys = BUS.open(place, page)
    if keys is None:
        return None
    before = page.count
    entries = PARTICIPANTS.open(keys["participants"], page) if "participants" in keys else []
    texts = {name: PARTICIPANT.open(node, page) or {} for _, name, node in entries}
    marks = {name: page.mark(key) for key, name, _ in entries}
    _check_names(entries, texts, nodes, page)
    nodes = [node for node in nodes if node.address.port]
    sent = read_traffic(keys, nodes, [*texts, *(node.name for node in nodes)], page)
    participants = _read_participants(keys, texts, nodes, page)
    plca = FLAG.at(keys, "plca", page)
    noise = NOISE.open(keys["noise"], page) if "noise" in keys else None
    bus = Bus(
        segment=Segment(
            participants=participants,
            rate=_rate(keys, page),
            plca=True if plca is None else plca,
            node_count=_whole(keys, "node-count", DEFAULT_COUNT, page),
            cable=_read_cable(keys, texts, page),
            traffic=sent.traffic,
            ip=6 if any(":" in node.address.host for node in nodes) else 4,
        ),
        marks=_marks(marks, place, page),
        assumed=sent.assumed,
        unsized=sent.unsized,
        bit_errors=_part(noise, "bit-errors", page),
        loss=_part(noise, "loss", page),
        set_plca=bool(FLAG.at(keys, "set-plca", page)),
        least_quality=WHOLE.at(keys, "quality-at-least", page),
        diagnoses=_read_diagnoses(texts, nodes, page),
    )
    return bus if page.count == before else None


def _marks(marks: dict[str, Mark], place: Node, page: Page) -> dict[str, Mark]:
    return {"": page.mark(place), **marks}


def _check_names(
    entries: Sequence[tuple[Node, str, Node]],
    texts: Mapping[str, Fields],
    nodes: Sequence[RackNode],
    page: Page,
) -> None:
    known = [TOOL, *(node.name for node in nodes if node.address.port)]
    serial = {node.name for node in nodes if not node.address.port}
    if known.count(TOOL) > 1:
        page.wrong(entries[0][0], f"a node is called `{TOOL}`, which is this computer's own name")
    for key, name, _ in entries:
        other = FLAG.at(texts[name], "other", page)
        if name in serial:
            what = f"{show(name)} is on a serial line of its own, not on the bus"
            page.wrong(key, what, "leave it out here; a node on the bus has an `address`")
        elif name not in known and not other:
            what = f"{show(name)} is neither a node of this file nor `{TOOL}`"
            page.wrong(key, what, nearest(name, known) or "other: yes")
        elif name in known and other:
            page.wrong(key, f"{show(name)} is no other device: this file describes it")


def _read_participants(
    keys: Fields, texts: Mapping[str, Fields], nodes: Sequence[RackNode], page: Page
) -> tuple[Participant, ...]:
    """Return everybody: those listed, in that order, then nodes that are not listed."""
    to_timer = _whole(keys, "to-timer", DEFAULT_TO_TIMER, page)
    burst = _whole(keys, "burst", 0, page)
    burst_timer = _whole(keys, "burst-timer", DEFAULT_BURST_TIMER, page)
    everybody = dict.fromkeys([*texts, TOOL, *(node.name for node in nodes)])
    return tuple(
        Participant(
            name=name,
            plca_id=WHOLE.at(texts.get(name, {}), "id", page),
            to_timer=_whole(texts.get(name, {}), "to-timer", to_timer, page),
            burst_count=_whole(texts.get(name, {}), "burst", burst, page),
            burst_timer=_whole(texts.get(name, {}), "burst-timer", burst_timer, page),
        )
        for name in everybody
    )


def _read_cable(keys: Fields, texts: Mapping[str, Fields], page: Page) -> Cable | None:
    stubs = {
        name: _millimetres(fields["stub"], page, "stub")
        for name, fields in texts.items()
        if "stub" in fields
    }
    if "cable" not in keys:
        for name in stubs:
            page.wrong(texts[name]["stub"], "`stub` goes only with `cable`")
        return None
    fields = CABLE.open(keys["cable"], page)
    if fields is None or not {"length", "ends", "terminated"} <= set(fields):
        return None
    places = {key: _names(fields[key], key, page) for key in ("ends", "terminated")}
    return Cable(
        length_mm=_millimetres(fields["length"], page, "length"),
        ends=places["ends"],
        terminated=places["terminated"],
        stubs_mm=stubs,
    )


def _names(node: Node, key: str, page: Page) -> tuple[str, ...]:
    read = [NAME.read(entry, page, key) for entry in PLACES.open(node, page)]
    return tuple(name for name in read if name is not None)


def _read_diagnoses(
    texts: Mapping[str, Fields], nodes: Sequence[RackNode], page: Page
) -> dict[str, Diagnosis]:
    own = {node.name: {signal.name: signal for signal in node.signals} for node in nodes}
    found = {}
    for name, fields in texts.items():
        known = own.get(name, {})
        counters = COUNTERS.open(fields["counters"], page) if "counters" in fields else []
        quality, beacons = (
            _path(name, fields[key], known, page) if key in fields else ""
            for key in ("quality", "unexpected-beacons")
        )
        made = Diagnosis(
            quality=quality,
            counters=tuple(_path(name, place, known, page) for place in counters),
            beacons=beacons,
        )
        if made.signals:
            found[name] = made
    return found


def _path(node: str, place: Node, known: Mapping[str, Signal], page: Page) -> str:
    """Return the full name of a node's own signal, which must be a number."""
    signal = DOTTED.read(place, page, "signal") or ""
    if signal and signal not in known:
        page.wrong(place, f"{node} has no signal {show(signal)}", nearest(signal, known))
    elif signal and known[signal].kind is not Kind.NUMBER:
        page.wrong(place, f"{node}.{signal} is no number")
    return f"{node}.{signal}"


def _whole(fields: Fields, key: str, default: int, page: Page) -> int:
    value = WHOLE.at(fields, key, page)
    return default if value is None else value


def _part(fields: Fields | None, key: str, page: Page) -> Decimal:
    value = NUMBER.at(fields or {}, key, page)
    if value is not None and fields is not None and not 0 <= value <= 1:
        page.wrong(fields[key], f"{key}: a probability lies from 0 to 1")
    return Decimal(0) if value is None else value


def _quantity(node: Node, page: Page, leaf: Leaf[str], name: str, unit: str) -> Decimal | None:
    text = leaf.read(node, page, name)
    if text is None:
        return None
    try:
        return value_in(text, unit)
    except Misread as misread:
        page.wrong(node, f"{name}: {misread.what}", misread.hint)
        return None


def _millimetres(node: Node, page: Page, name: str) -> int:
    value = _quantity(node, page, LENGTH, name, "mm")
    if value is not None and not 0 < value <= 1_000_000:
        page.wrong(node, f"{name}: expected more than 0 m and no more than 1000 m")
    return 1 if value is None else max(1, round(value))


def _rate(keys: Fields, page: Page) -> int:
    if "rate" not in keys:
        return DEFAULT_RATE
    value = _quantity(keys["rate"], page, RATE, "rate", "bit/s")
    if value is None:
        return DEFAULT_RATE
    if value < 1 or 1_000_000_000 % value:
        what = "rate: a bit time must be a whole number of nanoseconds"
        page.wrong(keys["rate"], what, "10 Mbit/s")
        return DEFAULT_RATE
    return int(value)
