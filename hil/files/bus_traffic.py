"""Reading the `traffic` of a bus: what is derived from layouts, and what the file says otherwise."""

from collections.abc import Sequence
from dataclasses import replace
from typing import cast

from hil.bus.declared import Declared, derive
from hil.bus.segment import LARGEST_DATAGRAM
from hil.core.instant import Duration
from hil.files.bus_shape import TRAFFIC, TRAFFICS
from hil.files.leaf import DURATION, NAME, WHOLE
from hil.files.mistake import Page, nearest, show
from hil.files.tree import Node
from hil.wire.rack import Node as RackNode
from hil.wire.segment import TOOL, Traffic

Fields = dict[str, Node]


def read_traffic(
    keys: Fields, nodes: Sequence[RackNode], names: Sequence[str], page: Page
) -> Declared:
    """Return all traffic, and the names of that with an interval or a size that is assumed."""
    bounds = [_positive(keys, key, page) for key in ("readings-every", "commands-every")]
    derived = derive(nodes, *bounds)
    traffic = {each.name: each for each in derived.traffic}
    assumed, unsized = set(derived.assumed), set(derived.unsized)
    entries = TRAFFICS.open(keys["traffic"], page) if "traffic" in keys else []
    for key, name, place in entries:
        fields = TRAFFIC.open(place, page)
        if fields is None:
            continue
        base = traffic.get(name)
        lacking = [word for word in ("from", "size", "every") if word not in fields]
        if base is None and lacking:
            what = f"{show(name)} is no traffic that is derived from layouts, and lacks "
            hint = nearest(name, traffic)
            page.wrong(key, what + ", ".join(f"`{word}`" for word in lacking), hint)
            continue
        made = _one_traffic(name, fields, base, names, page)
        if made is not None:
            traffic[name] = made
            assumed -= {name} if "every" in fields else set()
            unsized -= {name} if {"size", "answer"} & set(fields) else set()
    return Declared(
        traffic=tuple(traffic.values()),
        assumed=tuple(name for name in derived.assumed if name in assumed),
        unsized=tuple(name for name in derived.unsized if name in unsized),
    )


def _one_traffic(
    name: str, fields: Fields, base: Traffic | None, names: Sequence[str], page: Page
) -> Traffic | None:
    before = page.count
    known = {*names, TOOL}
    ends = {word: NAME.at(fields, word, page) for word in ("from", "to")}
    for word, end in ends.items():
        if end is not None and end not in known:
            what = f"{word}: nobody on the bus is called {show(end)}"
            page.wrong(fields[word], what, nearest(end, known))
    changed = {
        "sender": ends["from"],
        "receiver": ends["to"],
        "payload": _size(fields, "size", page),
        "interval": _positive(fields, "every", page),
        "answer": _size(fields, "answer", page),
    }
    given = {key: value for key, value in changed.items() if value is not None}
    if page.count > before:
        return None
    if base is None:
        base = Traffic(
            name=name,
            sender=cast(str, given["sender"]),
            receiver="",
            payload=cast(int, given["payload"]),
            interval=cast(Duration, given["interval"]),
        )
    return replace(base, **given)  # type: ignore[arg-type]  # each key has its own type


def _size(fields: Fields, key: str, page: Page) -> int | None:
    value = WHOLE.at(fields, key, page)
    if value is not None and not 0 <= value <= LARGEST_DATAGRAM:
        page.wrong(fields[key], f"{key}: a UDP datagram holds 0 to {LARGEST_DATAGRAM} octets")
    return value


def _positive(fields: Fields, key: str, page: Page) -> Duration | None:
    value = DURATION.at(fields, key, page)
    if value == 0:
        page.wrong(fields[key], f"{key}: expected more than 0 s")
        return None
    return value
