"""Reading the `relay` of a bench file: what is done to which datagrams, and when."""

from collections.abc import Sequence
from decimal import Decimal

from hil.core.instant import MILLISECOND, ZERO, Duration
from hil.files.bus_shape import (
    BEHIND,
    DISTURBANCE,
    DISTURBED,
    PART,
    RATE,
    RELAY,
    SCRIPT,
    WAYS,
)
from hil.files.leaf import ADDRESS, DURATION, NAME, WHOLE
from hil.files.mistake import Misread, Page, nearest, show
from hil.files.quantity import value_in
from hil.files.tree import Node, Scalar
from hil.wire.disturbance import Disturbance, RelayScript, Way
from hil.wire.rack import Node as RackNode

USUAL_HOLD = Duration(20 * MILLISECOND)
RATES = (8, 1_000_000_000)  # bit/s

Fields = dict[str, Node]


def read_relay(place: Node, nodes: Sequence[RackNode], page: Page) -> RelayScript | None:
    """Return the script; None, with the mistakes noted, where it cannot be read."""
    keys = RELAY.open(place, page)
    if keys is None:
        return None
    before = page.count
    names = [node.name for node in nodes]
    seed = WHOLE.at(keys, "seed", page)
    entries = SCRIPT.open(keys["script"], page) if "script" in keys else []
    script = [read_disturbance(entry, names, page) for entry in entries]
    behind = {}
    for key, name, entry in BEHIND.open(keys["behind"], page) if "behind" in keys else ():
        _check_node(key, name, names, page)
        behind[name] = ADDRESS.read(entry, page, name)
    if page.count > before:
        return None
    return RelayScript(
        seed=seed or 0,
        script=tuple(each for each in script if each is not None),
        behind={name: address for name, address in behind.items() if address is not None},
    )


def read_disturbance(place: Node, names: Sequence[str], page: Page) -> Disturbance | None:
    """Return one disturbance; None, with the mistakes noted, where it cannot be read."""
    keys = DISTURBANCE.open(place, page)
    if keys is None:
        return None
    before = page.count
    way = WAYS.at(keys, "way", page) or "both"
    begin, end = DURATION.at(keys, "begin", page), DURATION.at(keys, "end", page)
    if end is not None and end <= (begin or ZERO):
        page.wrong(keys["end"], "end: lies before `begin`, so this is never in force")
    held = DURATION.at(keys, "held", page)
    parts = {key: _part(keys, key, page) for key in ("loss", "duplicate", "reorder")}
    made = Disturbance(
        nodes=_nodes(keys, names, page),
        ways=tuple(Way) if way == "both" else (Way(way),),
        delay=DURATION.at(keys, "delay", page) or ZERO,
        jitter=DURATION.at(keys, "jitter", page) or ZERO,
        **parts,
        held=(USUAL_HOLD if held is None else held) if parts["reorder"] else ZERO,
        corrupt=_part(keys, "corrupt", page),
        truncate=_part(keys, "truncate", page),
        rate=_rate(keys, page),
        begin=begin or ZERO,
        end=end,
    )
    return made if page.count == before else None


def _nodes(keys: Fields, names: Sequence[str], page: Page) -> tuple[str, ...]:
    if "node" not in keys:
        return ()
    place = keys["node"]
    entries = [place] if isinstance(place, Scalar) else DISTURBED.open(place, page)
    found = []
    for entry in entries:
        name = NAME.read(entry, page, "node")
        if name is not None:
            _check_node(entry, name, names, page)
            found.append(name)
    return tuple(found)


def _check_node(place: Node, name: str, names: Sequence[str], page: Page) -> None:
    if name not in names:
        page.wrong(place, f"there is no node {show(name)} on this bench", nearest(name, names))


def _part(keys: Fields, key: str, page: Page) -> Decimal:
    value = _quantity(keys, key, "fraction", page)
    if value is not None and not 0 <= value <= 1:
        page.wrong(keys[key], f"{key}: a part of all datagrams lies from 0 % to 100 %")
    return Decimal(0) if value is None else value


def _rate(keys: Fields, page: Page) -> int | None:
    value = _quantity(keys, "rate", "bit/s", page)
    if value is None:
        return None
    if not RATES[0] <= value <= RATES[1]:
        page.wrong(keys["rate"], "rate: expected 8 bit/s to 1 Gbit/s", "100 kbit/s")
        return None
    return int(value)


def _quantity(keys: Fields, key: str, unit: str, page: Page) -> Decimal | None:
    leaf = RATE if key == "rate" else PART
    text = leaf.at(keys, key, page)
    if text is None:
        return None
    try:
        return value_in(text, unit)
    except Misread as misread:
        page.wrong(keys[key], f"{key}: {misread.what}", misread.hint)
        return None
