"""A first bench file from what a scan found: for a human to fill in.

Every node is drafted alike, as sparsely as our own reader takes it: who and where it is, one layout
and one signal that stand for those it really has.  What a human must fill in is marked so.  How the
nodes were found is known, and stands there as it is.
"""

from collections.abc import Iterator

from hil.runner.draft_coap import coap_lines, speaks_coap
from hil.runner.draft_discovery import (
    checks_text,
    discovery_text,
    layouts_of,
    layouts_text,
)
from hil.runner.yaml_word import quoted
from hil.wire.comparison import Comparison, Entry
from hil.wire.rack import Rack

FILL_IN = "fill in"

_HEAD = """\
# A draft of what `hil scan` found; not yet a description of this rack.
# Everything marked `{fill}` is a guess.  fixtures/README.md says what each key means;
# `hil check {file}` tells what is still wrong.

bench: {bench}
interface: {interface}
host: {host}

{checks}{discovery}"""

_LAYOUTS = """\
  draft-request:           # {fill}: what the tool sends to a node
    role: request
    fields:
      - {{name: kind, type: u8, constant: 0x01}}
      - {{name: node, type: u8, is: node}}
      - {{name: request, type: u16, is: request}}
      - {{name: operation, type: u8, is: operation}}
    examples:
      - bytes: 01 07 00 2A 01
        values: {{node: 7, request: 42, operation: 1}}

  draft-reading:           # {fill}: what a node sends, field by field
    role: reading
    fields:
      - {{name: kind, type: u8, constant: 0x02}}
      - {{name: node, type: u8, is: node}}
      - {{name: sequence, type: u16, is: sequence}}
      - {{signal: draft-signal, type: i16}}
    examples:
      - bytes: 02 07 00 01 00 D7
        values: {{node: 7, sequence: 1, draft-signal: 215 count}}
"""

_NODE = """\
  {name}:{remark}
    number: {number}
    address: {address}{moved}
{offers}"""

_DATAGRAMS = """\
    layouts: [draft-request, draft-reading]   # {fill}
    answer-within: 50 ms                      # {fill}
    requests: {{read: 1, poll: 200 ms}}         # {fill}
    signals:
      draft-signal:                           # {fill}: its signals, each with unit, range, drive
        unit: count
        range: -32768 count to 32767 count
"""


def draft(rack: Rack, found: Comparison, file: str) -> str:
    """Return the text of a bench file, with a node for everything that was seen.

    A node that was not seen stays in it as the bench file has it, and is marked.  `file` is where
    it will stand.
    """
    layouts = layouts_of(rack.discovery)
    head = _HEAD.format(
        bench=f"{rack.name}-draft",
        interface=rack.interface,
        host=quoted(rack.host),
        fill=FILL_IN,
        file=_visible(file),
        checks=checks_text(layouts),
        discovery=discovery_text(rack.discovery),
    )
    told = layouts_text(layouts)
    if not all(speaks_coap(entry) for entry in found.entries):
        told = _LAYOUTS.format(fill=FILL_IN) + told
    if told:
        head += f"layouts:\n{told.removeprefix(chr(10))}\n"
    return f"{head}nodes:\n" + "\n".join(_nodes(found))


def _nodes(found: Comparison) -> Iterator[str]:
    names: set[str] = set()
    numbers = {e.node.number for e in found.entries if e.node is not None}
    numbers |= {e.sighting.number or 0 for e in found.entries if e.sighting is not None}
    used: set[int] = set()
    places: set[str] = set()
    for entry in found.entries:
        place = str(entry.sighting.address if entry.sighting else entry.node and entry.node.address)
        if place in places:
            continue  # one address, one node: two boards there are told by the scan
        places.add(place)
        number, sure = _number(entry, used, numbers)
        used.add(number)
        yield _node(entry, place, _name(entry, number, names), number, sure)


def _number(entry: Entry, used: set[int], known: set[int]) -> tuple[int, bool]:
    """Return the node's number, and whether it is what the node says."""
    seen = entry.sighting
    told = seen.number if seen is not None else None
    if told is None and entry.node is not None:
        told = entry.node.number
    if told is not None and told not in used:
        return told, True
    return next(n for n in range(1, 1 << 16) if n not in used and n not in known), False


def _name(entry: Entry, number: int, names: set[str]) -> str:
    wanted = entry.node.name if entry.node is not None else f"node-{number}"
    name = wanted
    for turn in range(2, 1 << 16):
        if name not in names:
            break
        name = f"{wanted}-{turn}"
    names.add(name)
    return name


def _node(entry: Entry, place: str, name: str, number: int, sure: bool) -> str:
    node, seen = entry.node, entry.sighting
    remark = f"   # {FILL_IN}: a name; it is in no bench file yet" if node is None else ""
    if seen is None:
        remark = "   # not seen by the scan"
    elif seen.resources:
        remark += "   # speaks CoAP: see `coap` in fixtures/README.md"
    moved = ""
    if node is not None and seen is not None and seen.address != node.address:
        moved = f"   # was {node.address}"
    offers = seen.resources if seen is not None else ()
    shown = str(number) if sure else f"{number}   # {FILL_IN}: it did not say, or not alone"
    head = _NODE.format(
        name=name,
        remark=remark,
        number=shown,
        address=quoted(place),
        moved=moved,
        offers="".join(f"    # it offers {_visible(link)}\n" for link in offers),
    )
    if speaks_coap(entry):
        return head + "\n".join(coap_lines(entry, _identity(entry), FILL_IN)) + "\n"
    told = (f"    {key}: {quoted(text)}\n" for key, text in _identity(entry).items())
    return head + "".join(told) + _DATAGRAMS.format(fill=FILL_IN)


def _identity(entry: Entry) -> dict[str, str]:
    """Return serial number and firmware as they were seen, or as they were declared."""
    if entry.sighting is not None:
        seen = entry.sighting
        serial, firmware = seen.serial, seen.firmware and f">= {seen.firmware}"
    else:
        assert entry.node is not None
        serial, firmware = entry.node.identity.serial, entry.node.identity.firmware
    told = {"serial": serial} if _is_title(serial) else {}
    return told | ({"firmware": firmware} if _is_version(firmware) else {})


def _is_title(text: str) -> bool:
    return bool(text.strip()) and text.isprintable()


def _visible(text: str) -> str:
    """Return a text that is fit for one line of a comment."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def _is_version(text: str) -> bool:
    from hil.wire.firmware import requirement_problem

    return bool(text) and not requirement_problem(text)
