"""The shape of a file: which keys there are, what may stand in them.

One declaration serves twice: the reader checks trees with it, and `schema()` exports it as JSON
Schema (draft 2020-12) for editors.

    Leaf     one text, typed by a function        DURATION.read(node, page, "within")
    Record   a mapping with known keys            STEP.open(node, page)
    Names    a mapping whose keys the author chooses
    Many     a list
    Either   a choice by form: text, list or mapping
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any, Generic, TypeVar

from hil.files.mistake import Misread, Page, Placed, listed, nearest, show
from hil.files.tree import Map, Node, Scalar, Seq, Unfilled, describe, is_empty

T = TypeVar("T")

JsonSchema = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Leaf(Generic[T]):
    """One text.  `label` says what is expected, `parse` types it or raises Misread."""

    label: str
    parse: Callable[[str], T]
    json: JsonSchema

    def read(self, node: Node, page: Page, name: str) -> T | None:
        """Return what the node means; None, with the mistake noted, where it means nothing."""
        text = read_text(node, page, name, self.label)
        if text is None:
            return None
        try:
            return self.parse(text)
        except Misread as misread:
            page.wrong(node, f"{name}: {misread.what}", misread.hint)
            return None

    def at(self, fields: Mapping[str, Node], key: str, page: Page) -> T | None:
        """Return what stands under a key; None where there is no such key, or no meaning."""
        return self.read(fields[key], page, key) if key in fields else None

    def schema(self) -> JsonSchema:
        """Return the JSON Schema of this text."""
        return dict(self.json)


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a record: what stands in it, and what it is for."""

    shape: "Shape"
    doc: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class Record:
    """A mapping with known keys.

    `choices` are groups of keys of which exactly one must be there, `rivals` groups of which at
    most one may be, `some` groups of which at least one must be; `goes_with` names for a key the key (or one of the keys) it needs.
    """

    label: str
    keys: Mapping[str, Key]
    choices: tuple[tuple[str, ...], ...] = ()
    goes_with: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    rivals: tuple[tuple[str, ...], ...] = ()
    some: tuple[tuple[str, ...], ...] = ()

    def open(self, node: Node, page: Page) -> dict[str, Node] | None:
        """Return the values by key; every mistake about keys is noted, unknown keys left out."""
        if type(node) is not Map:
            page.wrong(node, f"expected {self.label}, got {describe(node)}")
            return None
        known = self.keys
        fields: dict[str, Node] = {}
        meant: set[str] = set()
        for name, (key, value) in node.pairs.items():
            if name in known:
                fields[name] = value
            elif type(key) is Unfilled:
                meant.update(known)  # it may be any of them
            else:
                meant.add(self._unknown(key, page))
        for name, entry in known.items():
            if entry.required and name not in fields and name not in meant:
                page.wrong(node, f"{self.label} lacks the key `{name}`: {entry.doc}")
        self._check_groups(node, fields, meant, page)
        return fields

    def _unknown(self, key: Scalar, page: Page) -> str:
        """Note an unknown key; return the one that is probably meant, so that none is missed."""
        if key.text == "<<":
            return ""
        near = nearest(key.text, self.keys)
        hint = near or f"one of {', '.join(self.keys)}"
        page.wrong(key, f"{self.label} has no key {show(key.text)}", hint)
        return near

    def _check_groups(
        self, node: Map, fields: dict[str, Node], meant: set[str], page: Page
    ) -> None:
        for group in self.choices:
            present = [name for name in group if name in fields]
            if not present and meant.isdisjoint(group):
                page.wrong(node, f"{self.label} needs one of {listed(group)}")
            if len(present) > 1:
                second = node.pairs[present[1]][0]
                what = f"{self.label} has {listed(present, 'and')}, expected exactly one of them"
                page.wrong(second, what, f"one of {', '.join(group)}")
        for group in self.some:
            if meant.isdisjoint(group) and not any(name in fields for name in group):
                page.wrong(node, f"{self.label} needs one of {listed(group)}")
        for group in self.rivals:
            present = [name for name in group if name in fields]
            if len(present) > 1:
                second = node.pairs[present[1]][0]
                what = f"{self.label} has {listed(present, 'and')}, expected at most one of them"
                page.wrong(second, what, f"leave out all but {listed(present)}")
        for name, needed in self.goes_with.items():
            if name in fields and not any(word in fields or word in meant for word in needed):
                what = f"`{name}` goes only with {listed(needed)}"
                page.wrong(node.pairs[name][0], what)

    def schema(self) -> JsonSchema:
        """Return the JSON Schema of the mapping."""
        properties = {}
        for name, key in self.keys.items():
            properties[name] = {**key.shape.schema(), "description": key.doc}
        result: JsonSchema = {
            "type": "object",
            "properties": properties,
            "additionalProperties": False,
        }
        required = [name for name, key in self.keys.items() if key.required]
        rules: list[JsonSchema] = [
            {"oneOf": [{"required": [name]} for name in group]} for group in self.choices
        ]
        for group in self.rivals:
            rules += [{"not": {"required": list(pair)}} for pair in combinations(group, 2)]
        rules += [{"anyOf": [{"required": [name]} for name in group]} for group in self.some]
        for name, needed in self.goes_with.items():
            one = [{"required": [other]} for other in needed]
            rules.append({"if": {"required": [name]}, "then": {"anyOf": one}})
        if required:
            result["required"] = required
        if rules:
            result["allOf"] = rules
        return result


@dataclass(frozen=True, slots=True)
class Names:
    """A mapping from names that the author chooses to values of one shape."""

    label: str
    shape: "Shape"
    parse: Callable[[str], Any]
    pattern: str
    at_least: int = 1

    def open(self, node: Node, page: Page) -> list[tuple[Scalar, Any, Node]]:
        """Return (key, typed key, value) of every entry whose key can be read."""
        if type(node) is not Map:
            page.wrong(node, f"expected {self.label}, got {describe(node)}")
            return []
        if len(node.pairs) < self.at_least:
            page.wrong(node, f"expected {self.label}, got an empty mapping")
        entries = []
        for key, value in node.pairs.values():
            try:
                entries.append((key, self.parse(key.text), value))
            except Misread as misread:
                page.wrong(key, misread.what, misread.hint)
        return entries

    def schema(self) -> JsonSchema:
        """Return the JSON Schema of the mapping."""
        return {
            "type": "object",
            "propertyNames": {"pattern": self.pattern},
            "additionalProperties": self.shape.schema(),
            "minProperties": self.at_least,
        }


@dataclass(frozen=True, slots=True)
class Many:
    """A list of one shape."""

    label: str
    shape: "Shape"
    at_least: int = 1

    def open(self, node: Node, page: Page) -> list[Node]:
        """Return the entries."""
        if type(node) is not Seq:
            page.wrong(node, f"expected {self.label}, got {describe(node)}")
            return []
        if len(node.items) < self.at_least:
            page.wrong(node, f"expected {self.label}, got an empty list")
        return node.items

    def schema(self) -> JsonSchema:
        """Return the JSON Schema of the list."""
        return {"type": "array", "items": self.shape.schema(), "minItems": self.at_least}


@dataclass(frozen=True, slots=True)
class Either:
    """A choice by form: a text, a list or a mapping, each with its own shape."""

    shapes: tuple["Shape", ...]

    def schema(self) -> JsonSchema:
        """Return the JSON Schema of the choice."""
        return {"anyOf": [shape.schema() for shape in self.shapes]}


Shape = Leaf[Any] | Record | Names | Many | Either


def read_text(node: Node, page: Page, name: str, label: str) -> str | None:
    """Return the text of a scalar; None, with the mistake noted, for anything else or nothing."""
    if type(node) is Scalar:
        if node.text not in _EMPTY or not is_empty(node):
            return node.text
        no_value(node, page, name, label)
        return None
    page.wrong(node, f"{name}: expected {label}, got {describe(node)}")
    return None


_EMPTY = frozenset({"", "~", "null", "Null", "NULL"})


def no_value(node: Placed, page: Page, name: str, label: str) -> None:
    """Note that a key has no value, and look whether a comment ate it."""
    rest = page.line_from(node).lstrip(" :")
    if rest.startswith("#") and len(rest) > 1 and not rest[1].isspace():
        eaten = rest.split()[0].rstrip(",}]")
        what = f"{name}: has no value, because {show(eaten)} after a blank is a comment"
        page.wrong(node, what, f'quote the colour or text: "{eaten}"')
        return
    page.wrong(node, f"{name}: has no value, expected {label}")
