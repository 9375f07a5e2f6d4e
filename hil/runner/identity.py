"""Who is on the rack: what the journal is told about bench file and nodes before anything moves."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from pathlib import Path

from hil.core.event import BenchFile, NodeIdentified
from hil.core.instant import Instant
from hil.core.observation import Confirmed
from hil.core.signal import Value, show_number
from hil.files.mistake import Page
from hil.wire.decoded import Decoded
from hil.wire.layout import Codec
from hil.wire.rack import Node, Rack, Role


def bench_file(rack: Rack) -> BenchFile | None:
    """Return the bench file as it was read; None where it has changed or gone since then."""
    try:
        content = Path(rack.file).read_bytes()
        text = content.decode("utf-8")
    except (OSError, UnicodeDecodeError):
        return None
    if Page(rack.file, content).digest() != rack.digest:
        return None
    return BenchFile(at=Instant(0), file=rack.file, digest=rack.digest, text=text)


def identified(
    nodes: tuple[Node, ...], heard: Mapping[str, bytes], at: Instant
) -> Iterator[NodeIdentified]:
    """Yield who each node says it is; `heard` is a reading of each, as its octets."""
    for node in nodes:
        told = _reading(node, heard.get(node.name, b""))
        if told is not None:
            yield NodeIdentified(
                at=at,
                node=node.name,
                serial=_shown(told.plain.get("serial")),
                firmware=_shown(told.plain.get("firmware")),
                boots=told.boots,
            )


_DIGITS = 18
"""A count of no more digits fits into the journal's 64 bits."""


def introduced(nodes: tuple[Node, ...], seen: Confirmed, at: Instant) -> Iterator[NodeIdentified]:
    """Yield who a node says it is that has no datagrams to tell it: in CoAP, on its console."""
    facts = dict(seen.facts)
    boots, told = facts.get("boots", ""), {*facts} & {"serial", "firmware", "boots"}
    (node,) = (node for node in nodes if node.name == seen.node)
    if told and not any(layout.role is Role.READING for layout in node.layouts):
        yield NodeIdentified(
            at=at,
            node=node.name,
            serial=facts.get("serial", ""),
            firmware=facts.get("firmware", ""),
            boots=int(boots) if boots.isdecimal() and len(boots) <= _DIGITS else None,
        )


def _reading(node: Node, payload: bytes) -> Decoded | None:
    for layout in node.layouts:
        if layout.role is not Role.READING:
            continue
        decoded = Codec(layout, node).decode(payload)
        if decoded is not None:
            return decoded
    return None


def _shown(value: Value | None) -> str:
    if isinstance(value, Decimal):
        return show_number(value)
    return value or ""
