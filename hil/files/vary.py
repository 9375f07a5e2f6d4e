"""One case written once, run for many values: `vary`, and `${name}` where a value goes.

    vary: {vane: [vane-1, vane-2], angle: [-45 deg, 45 deg]}     every combination: 4 cases
    vary: [{vane: vane-1, angle: 30 deg}, {vane: vane-2, angle: 45 deg}]     every row: 2 cases

Values go in as text, into keys and values alike, before anything is typed.
"""

import itertools
import re

from hil.files.mistake import Page, nearest, show
from hil.files.plan_shape import LISTS, ROW, ROWS, VALUES
from hil.files.shape import read_text
from hil.files.tree import Map, Node, Scalar, Seq, Unfilled, describe

Row = dict[str, str]

_VARIABLE = re.compile(r"\$\{([^{}]*)\}")
LIMIT = 10_000
"""How many cases one `vary` may make."""


def read_rows(node: Node, page: Page) -> list[Row] | None:
    """Return the values of the variables for each case; None, with the mistakes noted."""
    before = page.count
    if isinstance(node, Map):
        rows = _combine(node, page)
    elif isinstance(node, Seq):
        rows = _table(node, page)
    else:
        what = f"vary: expected variables with lists, or a list of rows, got {describe(node)}"
        page.wrong(node, what, "vary: {vane: [vane-1, vane-2]}")
        return None
    return None if page.count > before else rows


def _combine(node: Map, page: Page) -> list[Row]:
    lists: dict[str, list[str]] = {}
    count = 1
    for _, name, entry in LISTS.open(node, page):
        values = [_value(item, name, page) for item in VALUES.open(entry, page)]
        lists[name] = [value for value in values if value is not None]
        count *= max(1, len(values))
    if count > LIMIT:
        page.wrong(node, f"vary makes {count} cases, more than {LIMIT} (the limit)")
        return []
    return [dict(zip(lists, row, strict=True)) for row in itertools.product(*lists.values())]


def _table(node: Seq, page: Page) -> list[Row]:
    rows = []
    if len(node.items) > LIMIT:
        page.wrong(node, f"vary has {len(node.items)} rows, more than {LIMIT} (the limit)")
    first: Row | None = None
    for item in ROWS.open(node, page):
        row = {}
        for _, name, value in ROW.open(item, page):
            row[name] = _value(value, name, page) or ""
        first = row if first is None else first
        if set(row) != set(first):
            odd = sorted(set(row) ^ set(first))
            what = f"the rows differ in their variables: {', '.join(odd)}"
            page.wrong(item, what, f"give each row {', '.join(first)}")
        rows.append(row)
    return rows


def _value(node: Node, name: str, page: Page) -> str | None:
    text = read_text(node, page, name, "one value")
    if text is not None and _VARIABLE.search(text):
        page.wrong(node, f"{name}: a value of `vary` cannot hold a variable, got {show(text)}")
        return None
    return text


def fill(node: Node, row: Row | None, used: set[str], page: Page) -> Node:
    """Return the tree with the row's values in place of the variables; places stay.

    Parts without a variable are shared, not copied.  `used` collects the variables met, and those
    that a misspelled one probably means.  A text with a variable that has no value stays as it is
    and becomes Unfilled, so that everything else can be read; `row` is None where `vary` itself
    could not be read, which has been said.
    """
    if isinstance(node, Scalar):
        return _fill_text(node, row, used, page) if "${" in node.text else node
    if isinstance(node, Seq):
        items = [fill(item, row, used, page) for item in node.items]
        if all(new is old for new, old in zip(items, node.items, strict=True)):
            return node
        filled = Seq(node.line, node.column)
        filled.items = items
        return filled
    return _fill_map(node, row, used, page)


def _fill_map(node: Map, row: Row | None, used: set[str], page: Page) -> Map:
    filled = Map(node.line, node.column)
    same = True
    for key, value in node.pairs.values():
        new_key = fill(key, row, used, page)
        new_value = fill(value, row, used, page)
        same = same and new_key is key and new_value is value
        assert isinstance(new_key, Scalar)
        if new_key.text in filled.pairs:
            first = filled.pairs[new_key.text][0]
            what = f"the key {show(new_key.text)} stands here again, first in line {first.line}"
            page.wrong(key, what, "keep the values of the variables apart")
        filled.pairs[new_key.text] = (new_key, new_value)
    return node if same else filled


def _fill_text(node: Scalar, row: Row | None, used: set[str], page: Page) -> Scalar:
    names = [match.strip() for match in _VARIABLE.findall(node.text)]
    used.update(names)
    values = row or {}
    unknown = [name for name in names if name not in values]
    if not unknown:
        text = _VARIABLE.sub(lambda match: values[match[1].strip()], node.text)
        return Scalar(text, False, node.line, node.column)
    for name in unknown if row is not None else ():
        near = nearest(name, values)
        used.add(near)
        what = f"{show(f'${{{name}}}')} is not a variable of this case's `vary`"
        page.wrong(node, what, near)
    return Unfilled(node.text, False, node.line, node.column)
