"""The `layouts` of a bench file: what the octets of a datagram mean."""

from hil.files.bench_shape import EXAMPLES, FIELDS, LAYOUT, ROLE
from hil.files.field_file import SIZE_LIMIT, FieldReader, read_order
from hil.files.grid import all_parts
from hil.files.leaf import FLAG
from hil.files.mistake import Page, show
from hil.files.tree import Node
from hil.wire.rack import Crc, Field, Layout, Role

_NEEDED: dict[Role, tuple[str, ...]] = {
    Role.READING: (),
    Role.REQUEST: ("request", "operation"),
    Role.ANSWER: ("request",),
    Role.ANNOUNCE: ("node",),
    Role.ASK: (),
}


class LayoutText:
    """A layout without its examples, and the nodes of the examples for when signals are known.

    It is `sound` where the examples can be held to it: its CRC is what it is declared to be.
    """

    __slots__ = ("examples", "layout", "place", "sound")

    def __init__(self, layout: Layout, examples: list[Node], place: Node, sound: bool) -> None:
        self.layout = layout
        self.examples = examples
        self.place = place
        self.sound = sound


def read_layout(
    name: str, node: Node, checks: dict[str, Crc | None], page: Page
) -> LayoutText | None:
    """Return one layout; None, with the mistakes noted, where a field cannot be read."""
    keys = LAYOUT.open(node, page)
    if keys is None or "role" not in keys or "fields" not in keys:
        return None
    role_word = ROLE.read(keys["role"], page, "role")
    role = None if role_word is None else Role(role_word)
    order = read_order(keys["order"], page) if "order" in keys else "big"
    entries = FIELDS.open(keys["fields"], page)
    reader = FieldReader(page, checks, order or "big", role)
    fields = [reader.read(entry) for entry in entries]
    examples: list[Node] = []
    if "examples" in keys:
        examples = EXAMPLES.open(keys["examples"], page)
    append = FLAG.at(keys, "append-allowed", page) if "append-allowed" in keys else False
    known = [field for field in fields if field is not None]
    if len(known) < len(entries) or role is None or order is None or not known:
        return None
    _check_layout(name, role, known, node, page)
    layout = Layout(name=name, role=role, fields=tuple(known), append_allowed=bool(append))
    return LayoutText(layout, examples, node, reader.sound)


def _check_layout(name: str, role: Role, fields: list[Field], node: Node, page: Page) -> None:
    carried = [part.carries.value for part in all_parts(fields)]
    for meaning in _NEEDED[role]:
        if meaning not in carried:
            page.wrong(node, f"the layout {show(name)} has no field that `is: {meaning}`")
    for meaning in sorted({word for word in carried if carried.count(word) > 1}):
        if meaning not in ("plain", "signal", "constant", "padding"):
            page.wrong(node, f"the layout {show(name)} has two fields that are `{meaning}`")
    if sum(field.size for field in fields) > SIZE_LIMIT:
        page.wrong(node, f"the layout {show(name)} does not fit into one datagram of {SIZE_LIMIT}")
