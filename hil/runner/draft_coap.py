"""A node that speaks CoAP, drafted from what it offers: each text that it has is a signal.

So `hil watch` shows at once what stands in its resources, and a human sees which of them are
measurements, and in which unit.
"""

import re
from collections.abc import Iterator

from hil.files.coap_shape import read_place
from hil.files.mistake import Misread
from hil.runner.yaml_word import quoted
from hil.wire.coap.description import Format
from hil.wire.coap.link_format import Link, LinkError, parse
from hil.wire.comparison import Entry
from hil.wire.identity import NAMES

_SAFE = re.compile(r"[A-Za-z0-9._~/-]+")
_WORD = re.compile(r"[A-Za-z][A-Za-z0-9-]*")


def speaks_coap(entry: Entry) -> bool:
    """Return whether enough of a node's resources is known to draft it in CoAP."""
    return bool(_signals(entry))


def coap_lines(entry: Entry, identity: dict[str, str], fill: str) -> Iterator[str]:
    """Yield the lines of a node behind its address; `identity` are its serial and firmware."""
    places = _facts(entry)
    for name, text in identity.items():
        if name in places:
            yield f"    {name}: {quoted(text)}"
        else:
            yield f"    # {name}: {quoted(text)}   # {fill}: with `{name}: PATH` under `coap`"
    told = "".join(f", {name}: {quoted(places[name])}" for name in identity if name in places)
    yield f"    coap: {{poll: 1 s{told}}}   # {fill}: `observe: yes`, `boots`, `uptime`"
    yield f"    answer-within: 1 s   # {fill}"
    yield f"    signals:   # {fill}: the unit and range of each instead of `text`, its drive"
    for name, path in _signals(entry).items():
        yield f"      {name}:"
        yield "        text: yes"
        yield f"        coap: {quoted(path)}"


def _signals(entry: Entry) -> dict[str, str]:
    """Return the resources that say of themselves that they are texts, by names for signals."""
    found: dict[str, str] = {}
    for text in entry.sighting.resources if entry.sighting is not None else ():
        link = _link(text)
        if link is None or str(Format.TEXT.number) not in (link.value("ct") or "").split():
            continue
        path = link.target.removeprefix("/")
        name = ".".join(re.sub(r"[^A-Za-z0-9]+", "-", part).strip("-") for part in path.split("/"))
        if _is_path(path) and all(_WORD.fullmatch(part) for part in name.split(".")):
            found.setdefault(name, path)
    return found


def _link(text: str) -> Link | None:
    try:
        links = parse(text)
    except LinkError:
        return None
    return links[0] if len(links) == 1 else None


def _is_path(text: str) -> bool:
    if _SAFE.fullmatch(text) is None:
        return False
    try:
        read_place(text)
    except Misread:
        return False
    return True


def _facts(entry: Entry) -> dict[str, str]:
    """Return where the bench file says that the node tells who it is, as far as that is a text."""
    coap = None if entry.node is None else entry.node.coap
    return {
        name: str(resource.place).removeprefix("/")
        for resource in (coap.resources if coap is not None else ())
        for name in NAMES
        if name in resource.facts
        and resource.format is Format.TEXT
        and _is_path(str(resource.place).removeprefix("/"))
    }
