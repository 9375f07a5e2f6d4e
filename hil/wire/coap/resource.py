"""What a CoAP node has: resources, each with what it answers."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple
from urllib.parse import quote

from hil.core.instant import ZERO, Duration, Instant
from hil.wire.coap.code import Code
from hil.wire.coap.link_format import WELL_KNOWN, Attributes, Link, render, select
from hil.wire.coap.option import Options

TEXT, LINKS = 0, 40
"""Content-Formats of text/plain and application/link-format (RFC 7252 §12.3)."""

_IN_SEGMENT = "!$&'()*+,;=:@"
"""What stands for itself in a segment of a path (RFC 3986 §3.3)."""


class Request(NamedTuple):
    """What a resource is asked, whole, whatever blocks it came in."""

    method: int
    path: tuple[str, ...]
    query: tuple[str, ...]
    accept: int | None
    content_format: int | None
    payload: bytes
    at: Instant


class Reply(NamedTuple):
    """What a resource answers.

    `max_age` is in seconds; None leaves it at the standard's 60.  `options` are any further ones.
    """

    code: int = Code.CONTENT
    payload: bytes = b""
    content_format: int | None = None
    max_age: int | None = None
    options: Options = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Resource:
    """One resource of a node.

    `answer` gets only what passed the checks: a method of `methods`, an Accept among `offers`
    (any, where that is empty), a Content-Format among `takes` (any, where empty).
    `delay` is how long the node works on it before it answers.  `attributes` stand in
    /.well-known/core; `obs` and `ct` are added there by themselves.
    """

    path: tuple[str, ...]
    answer: Callable[[Request], Reply]
    methods: frozenset[int] = frozenset({Code.GET})
    offers: tuple[int, ...] = ()
    takes: tuple[int, ...] = ()
    observable: bool = False
    delay: Duration = ZERO
    attributes: Attributes = ()

    def link(self) -> Link:
        """Return what /.well-known/core says about it."""
        attributes = list(self.attributes)
        if self.offers:
            attributes.append(("ct", " ".join(str(number) for number in self.offers)))
        if self.observable:
            attributes.append(("obs", None))
        target = "/" + "/".join(quote(segment, safe=_IN_SEGMENT) for segment in self.path)
        return Link(target, tuple(attributes))


def directory(resources: Iterable[Resource]) -> Resource:
    """Make the resource that lists the others (RFC 6690 §4), which a query may narrow (§4.1)."""
    links = tuple(resource.link() for resource in resources)

    def answer(request: Request) -> Reply:
        text = render(select(links, request.query))
        return Reply(Code.CONTENT, text.encode(), LINKS)

    return Resource(path=WELL_KNOWN, answer=answer, offers=(LINKS,))
