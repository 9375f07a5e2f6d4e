"""The worked examples of a layout: these bytes carry these values, and the values give the bytes.

Signals stand with their unit, as everywhere; header fields, and the value of a request or an
answer, are the number on the wire.
"""

import re
from decimal import Decimal

from hil.files.bench_shape import EXAMPLE, EXAMPLE_VALUES
from hil.files.grid import all_parts
from hil.files.layout_file import LayoutText
from hil.files.leaf import OCTETS, VALUE
from hil.files.mistake import Misread, Page, nearest, show
from hil.files.node_file import NodeText
from hil.files.quantity import read_number
from hil.files.scalar import read_whole
from hil.files.tree import Node
from hil.files.value import read_value
from hil.wire.example import check_examples
from hil.wire.rack import Carries, Example, Field, Layout

_NUMBERED = re.compile(r"example (\d+): (.*)", re.DOTALL)


def read_example(node: Node, layout: Layout, users: list[NodeText], page: Page) -> Example | None:
    """Return one example; `users` are the nodes that use the layout."""
    keys = EXAMPLE.open(node, page)
    if keys is None or "bytes" not in keys or "values" not in keys:
        return None
    raw = OCTETS.read(keys["bytes"], page, "bytes")
    parts = {part.name: part for part in all_parts(layout.fields) if part.name}
    values: dict[str, Decimal | str] = {}
    for key, name, value in EXAMPLE_VALUES.open(keys["values"], page):
        if name not in parts:
            what = f"the layout {show(layout.name)} has no field {show(name)}"
            page.wrong(key, what, nearest(name, parts))
            continue
        text = VALUE.read(value, page, name)
        if text is None:
            continue
        try:
            values[name] = _typed(name, text, parts[name], users)
        except Misread as misread:
            page.wrong(value, f"{name}: {misread.what}", misread.hint)
    return None if raw is None else Example(raw=raw, values=values)


def _typed(name: str, text: str, part: Field, users: list[NodeText]) -> Decimal | str:
    if part.carries is Carries.SIGNAL:
        for user in users:
            if name in user.signals:
                return read_value(text, user.signals[name].signal)
        return text
    if part.form in ("text", "bytes") or part.labels:
        return text
    return Decimal(read_whole(text)) if "x" in text else read_number(text)


def verify_examples(layout: Layout, text: LayoutText, users: list[NodeText], page: Page) -> None:
    """Note a mistake for every example whose bytes do not carry its values.

    A layout that no node uses is checked with its plain numbers alone.  Where something that an
    example depends on is wrong itself, that is the one mistake.
    """
    if not text.sound:
        return
    carried = {part.name for part in all_parts(layout.fields) if part.carries is Carries.SIGNAL}
    for user in users:
        if not carried <= {name for name, signal in user.signals.items() if signal.sound}:
            return
    tables = [{name: read.encoding for name, read in user.signals.items()} for user in users]
    for encodings in tables or [{}]:
        for problem in check_examples(layout, encodings):
            numbered = _NUMBERED.fullmatch(problem)
            if numbered is None:
                page.wrong(text.place, f"the layout {show(layout.name)}: {problem}")
                continue
            place = text.examples[int(numbered[1]) - 1]
            page.wrong(place, f"the example does not fit: {numbered[2]}")
