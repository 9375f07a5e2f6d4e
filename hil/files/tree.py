"""From text to a light tree that knows where everything stands.

    Scalar   one text; `plain` tells an unquoted one
    Seq      a list of nodes
    Map      `pairs`: key text -> (key, value), in the order of the file

The tree is built from the events of PyYAML's C parser.  Scalars stay text: `on` is a word and
`1.10` keeps its zero, until the field that holds them says what they mean.  Refused here, openly:
repeated keys, merge keys, tags, several documents, keys that are not words, and aliases that would
blow up.
"""

import re
from collections.abc import Callable, Iterable
from typing import Any

import yaml
from yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from hil.files.mistake import Page, Placed, show
from hil.files.syntax import explain

DEPTH_LIMIT = 60
"""How deep lists and mappings may be nested."""

ALIAS_LIMIT = 100_000
"""How many values all aliases of a file may stand for together."""


class Scalar:
    """One text and its place; `plain` is True where it was written without quotes."""

    __slots__ = ("column", "line", "plain", "text")

    def __init__(self, text: str, plain: bool, line: int, column: int) -> None:
        self.text = text
        self.plain = plain
        self.line = line
        self.column = column


class Unfilled(Scalar):
    """A text with a variable that has no value: it means nothing, which has been said."""

    __slots__ = ()
    unfilled = True


class Seq:
    """A list of nodes."""

    __slots__ = ("column", "items", "line")

    def __init__(self, line: int, column: int) -> None:
        self.items: list[Node] = []
        self.line = line
        self.column = column


class Map:
    """A mapping; each key once, with its own place."""

    __slots__ = ("column", "line", "pairs")

    def __init__(self, line: int, column: int) -> None:
        self.pairs: dict[str, tuple[Scalar, Node]] = {}
        self.line = line
        self.column = column


Node = Scalar | Seq | Map

_STARTS: dict[Any, type[Seq] | type[Map]] = {SequenceStartEvent: Seq, MappingStartEvent: Map}
_ENDS = frozenset({SequenceEndEvent, MappingEndEvent})
_COMMA = re.compile(r"\d,$")
_NO_VALUE = re.compile(r"~|null|Null|NULL|")


def is_empty(node: Node) -> bool:
    """Tell whether a node is YAML's "no value": nothing, `~` or `null` without quotes."""
    return isinstance(node, Scalar) and node.plain and _NO_VALUE.fullmatch(node.text) is not None


def describe(node: Node) -> str:
    """Say in a few words what a node is, for `got ...`."""
    if isinstance(node, Seq):
        return "a list"
    if isinstance(node, Map):
        return "a mapping"
    return "nothing" if is_empty(node) else show(node.text)


def children(node: Node) -> Iterable[Node]:
    """Return the values inside a list or mapping (not the keys)."""
    if isinstance(node, Seq):
        return node.items
    if isinstance(node, Map):
        return [value for _, value in node.pairs.values()]
    return ()


def read_tree(page: Page) -> Node | None:
    """Return the tree of the page's text; None, with the mistakes noted, where there is none."""
    loader = yaml.CSafeLoader(page.text)
    builder = _Builder(page)
    try:
        builder.run(loader.get_event)
    except yaml.YAMLError as error:
        explain(error, page)
        return None
    finally:
        loader.dispose()
    builder.mend_commas()
    if builder.stopped:
        return None
    if builder.root is None or is_empty(builder.root):
        page.wrong_at(1, 1, "the file is empty")
        return None
    return builder.root


class _Builder:
    """Hangs the events of one file into a tree."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.root: Node | None = None
        self.stopped = False
        self._anchors: dict[str, Node] = {}
        self._outer: list[tuple[Seq | Map | None, Scalar | None]] = []
        self._extents: dict[int, tuple[int, int]] = {}
        self._aliased = 0
        self._commas: list[tuple[Map, Scalar]] = []

    def run(self, get_event: Callable[[], Any]) -> None:
        """Take every event; the hot loop of reading, so it is one pass with locals only."""
        outer = self._outer
        holder: Seq | Map | None = None
        key: Scalar | None = None
        while (event := get_event()) is not None and not self.stopped:
            kind = type(event)
            if kind is ScalarEvent:
                mark = event.start_mark
                node: Node = Scalar(event.value, not event.style, mark.line + 1, mark.column + 1)
            elif kind in _STARTS:
                mark = event.start_mark
                node = _STARTS[kind](mark.line + 1, mark.column + 1)
            elif kind in _ENDS:
                holder, key = outer.pop()
                continue
            elif kind is AliasEvent:
                node = self._alias(event, holder)
            else:
                self._frame(event)
                continue
            if kind is not AliasEvent and (event.anchor or event.tag):
                self._decorated(event, node)
            if type(holder) is Map:
                if key is None:
                    key = self._key(holder, node)
                else:
                    if kind is ScalarEvent and not event.value:
                        self._nothing(key, event, node)
                    holder.pairs.setdefault(key.text, (key, node))
                    key = None
            elif holder is None:
                self.root = node
            else:
                holder.items.append(node)  # type: ignore[union-attr]  # type() narrowed it above
            if kind in _STARTS:
                outer.append((holder, key))
                holder, key = node, None  # type: ignore[assignment]
                if len(outer) > DEPTH_LIMIT:
                    self._too_deep(node)

    def _stop(self, place: Placed, what: str) -> None:
        self.page.wrong(place, what)
        self.stopped = True

    def _too_deep(self, place: Placed) -> None:
        self._stop(place, f"more than {DEPTH_LIMIT} levels inside one another (the limit)")

    def _frame(self, event: Any) -> None:
        if type(event) is DocumentStartEvent and self.root is not None:
            mark: Any = event.start_mark
            what = "a second document begins here, expected one per file"
            self.page.wrong_at(mark.line + 1, mark.column + 1, what, "make two files of it")
            self.stopped = True

    def _key(self, holder: Map, node: Node) -> Scalar:
        if not isinstance(node, Scalar):
            self._stop(node, f"a key must be one word, got {describe(node)}")
            return Scalar("", True, node.line, node.column)
        if node.plain and node.text[:1].isdigit() and _COMMA.search(self.page.line_up_to(node)):
            self._commas.append((holder, node))
        if node.text == "<<" and node.plain:
            self.page.wrong(node, "merge keys (`<<`) are not read", "write the keys out")
        if node.text in holder.pairs:
            first = holder.pairs[node.text][0]
            what = f"the key {show(node.text)} stands here again, first in line {first.line}"
            self.page.wrong(node, what, "keep one of the two")
        return node

    def _nothing(self, key: Scalar, event: Any, node: Node) -> None:
        """Put a missing value right behind its key; the parser puts it where the next thing is."""
        if not event.style and isinstance(node, Scalar):
            node.line, node.column = key.line, key.column + len(key.text) + (1 if key.plain else 3)

    def mend_commas(self) -> None:
        """Put `{a: 4,8 bar}` together again: YAML reads two entries, the author wrote one number.

        The field that holds the number then says that it wants a decimal point.
        """
        for holder, key in self._commas:
            if key.text not in holder.pairs or not is_empty(holder.pairs[key.text][1]):
                continue
            names = list(holder.pairs)
            place = names.index(key.text)
            before = holder.pairs[names[place - 1]][1]
            if place and isinstance(before, Scalar):
                before.text = f"{before.text},{key.text}"
                del holder.pairs[key.text]

    def _decorated(self, event: Any, node: Node) -> None:
        if event.tag:
            self.page.wrong(node, f"tags are not read, got {show(event.tag)}", "leave it out")
        if event.anchor:
            self._anchors[event.anchor] = node

    def _alias(self, event: Any, holder: Seq | Map | None) -> Node:
        mark = event.start_mark
        place = Scalar("", True, mark.line + 1, mark.column + 1)
        node = self._anchors.get(event.anchor)
        if node is None:
            self._stop(place, f"nothing above is marked `&{event.anchor}`")
            return place
        if node is holder or any(node is open_one for open_one, _ in self._outer):
            self._stop(place, f"`*{event.anchor}` stands inside the very thing it repeats")
            return place
        size, depth = self._extent(node)
        self._aliased += size
        if self._aliased > ALIAS_LIMIT:
            self._stop(place, f"the aliases stand for more than {ALIAS_LIMIT} values (the limit)")
        if len(self._outer) + depth > DEPTH_LIMIT:
            self._too_deep(place)
        return node

    def _extent(self, node: Node) -> tuple[int, int]:
        """Return how many nodes and levels a node has, written out; each is counted once."""
        if isinstance(node, Scalar):
            return 1, 0
        known = self._extents.get(id(node))
        if known is None:
            parts = [self._extent(part) for part in children(node)]
            size = 1 + sum(part[0] for part in parts)
            known = (size, 1 + max((part[1] for part in parts), default=0))
            self._extents[id(node)] = known
        return known
