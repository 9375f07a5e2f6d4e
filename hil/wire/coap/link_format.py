"""Links to what a node has, as it lists them (RFC 6690).

</sensors/temp>;rt="temperature-c";if="sensor",</sensors/light>;rt="light-lux";obs
"""

import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

Attributes = tuple[tuple[str, str | None], ...]
"""Names and values; a value is None where only the name stands (`obs`)."""

WELL_KNOWN = (".well-known", "core")
"""The path at which a node lists its links (RFC 6690 §4)."""

_ONLY_ONCE = frozenset({"rt", "if", "sz"})
"""Attributes that must not stand twice in a link (RFC 6690 §3)."""


class Link(NamedTuple):
    """One link: what it leads to, and what is said about that."""

    target: str
    attributes: Attributes = ()

    def value(self, name: str) -> str | None:
        """Return the first value of an attribute; None where it is absent or has none."""
        return next((value for key, value in self.attributes if key == name), None)

    def has(self, name: str) -> bool:
        """Return whether an attribute is there, with or without a value."""
        return any(key == name for key, _ in self.attributes)

    def words(self, name: str) -> tuple[str, ...]:
        """Return the words of an attribute that is a list (rt, if, rel, ct)."""
        return tuple((self.value(name) or "").split())

    def __str__(self) -> str:
        return f"<{self.target}>" + "".join(_render(name, value) for name, value in self.attributes)


class LinkError(ValueError):
    """Text that is no list of links; `at` is the place of the first wrong character."""

    def __init__(self, what: str, at: int) -> None:
        super().__init__(f"{what} at character {at}")
        self.at = at


_SPACE = re.compile(r"[ \t\r\n]*")
_TARGET = re.compile(r"<([^<>]*)>")
_NAME = re.compile(r"[!#$&+\-.^_`|~0-9A-Za-z]+\*?")
_PLAIN = re.compile(r"[!#$%&'()*+\-./0-9:<=>?@A-Z\[\]^_`a-z{|}~]+")
_QUOTED = re.compile(r'"((?:[^"\\]|\\.)*)"', re.DOTALL)
_ESCAPE = re.compile(r"\\(.)", re.DOTALL)


def parse(text: str) -> tuple[Link, ...]:
    """Read a list of links (RFC 6690 §2); blanks between the parts are passed over.

    Raises LinkError.  An attribute that must stand once and stands again is passed over (§3).
    """
    links: list[Link] = []
    at = _blank(text, 0)
    while at < len(text):
        found = _TARGET.match(text, at)
        if found is None:
            raise LinkError("a link in angle brackets is expected", at)
        attributes, at = _attributes(text, _blank(text, found.end()))
        links.append(Link(found.group(1), attributes))
        if at == len(text):
            break
        if text[at] != ",":
            raise LinkError("a comma or a semicolon is expected", at)
        at = _blank(text, at + 1)
        if at == len(text):
            raise LinkError("a link is expected behind the comma", at)
    return tuple(links)


def _attributes(text: str, at: int) -> tuple[Attributes, int]:
    made: list[tuple[str, str | None]] = []
    seen: set[str] = set()
    while at < len(text) and text[at] == ";":
        at = _blank(text, at + 1)
        found = _NAME.match(text, at)
        if found is None:
            raise LinkError("the name of an attribute is expected", at)
        name, value, at = found.group(), None, _blank(text, found.end())
        if at < len(text) and text[at] == "=":
            value, at = _value(text, _blank(text, at + 1))
        if not (name in _ONLY_ONCE and name in seen):
            made.append((name, value))
        seen.add(name)
    return tuple(made), at


def _value(text: str, at: int) -> tuple[str, int]:
    quoted = _QUOTED.match(text, at)
    if quoted is not None:
        return _ESCAPE.sub(r"\1", quoted.group(1)), _blank(text, quoted.end())
    plain = _PLAIN.match(text, at)
    if plain is None:
        raise LinkError("a value is expected", at)
    return plain.group(), _blank(text, plain.end())


def _blank(text: str, at: int) -> int:
    found = _SPACE.match(text, at)
    return found.end() if found is not None else at


def render(links: Iterable[Link]) -> str:
    """Render a list of links."""
    return ",".join(str(link) for link in links)


def _render(name: str, value: str | None) -> str:
    if value is None:
        return f";{name}"
    if value.isascii() and value.isdigit():
        return f";{name}={value}"
    escaped = value.replace("\\", "\\\\").replace('"', '\\"')
    return f';{name}="{escaped}"'


def select(links: Iterable[Link], query: Sequence[str]) -> tuple[Link, ...]:
    """Return the links that fit all parts of a query: `rt=light-lux`, `href=/sen*` (§4.1)."""
    return tuple(link for link in links if all(_fits(link, part) for part in query))


def _fits(link: Link, part: str) -> bool:
    name, equals, wanted = part.partition("=")
    if name == "href":
        candidates: tuple[str, ...] = (link.target,)
    elif not equals or not link.has(name):
        return link.has(name)
    else:
        candidates = (link.value(name) or "", *link.words(name))
    if wanted.endswith("*"):
        return any(candidate.startswith(wanted[:-1]) for candidate in candidates)
    return wanted in candidates
