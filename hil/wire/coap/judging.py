"""What is wrong with a request, before any resource hears of it (RFC 7252 §5.4, §5.8, §5.10)."""

import zlib
from collections.abc import Callable

from hil.wire.coap.code import METHODS, Code, code_name
from hil.wire.coap.option import Option, Sifted, option_name
from hil.wire.coap.resource import Reply, Resource

_METHODS = frozenset(METHODS.values())


def judge(method: int, sifted: Sifted, resource: Resource | None) -> Reply | None:
    """Return the error that a request is answered with; None for one that is all right."""
    if sifted.refused:
        names = ", ".join(option_name(number) for number in sifted.refused)
        return Reply(Code.BAD_OPTION, f"not understood: {names}".encode())
    if Option.PROXY_URI in sifted.known or Option.PROXY_SCHEME in sifted.known:
        return Reply(Code.PROXYING_NOT_SUPPORTED)
    if method not in _METHODS:
        return Reply(Code.METHOD_NOT_ALLOWED)
    if resource is None:
        return Reply(Code.NOT_FOUND)
    if method not in resource.methods:
        return Reply(Code.METHOD_NOT_ALLOWED, f"no {code_name(method)[5:]} here".encode())
    return _formats(sifted, resource)


def _formats(sifted: Sifted, resource: Resource) -> Reply | None:
    accept = sifted.number(Option.ACCEPT)
    if accept is not None and resource.offers and accept not in resource.offers:
        return Reply(Code.NOT_ACCEPTABLE)
    given = sifted.number(Option.CONTENT_FORMAT)
    if given is not None and resource.takes and given not in resource.takes:
        return Reply(Code.UNSUPPORTED_CONTENT_FORMAT)
    return None


def tag_of(reply: Reply) -> bytes:
    """Return the entity-tag of a representation: a check over its format and its octets."""
    form = -1 if reply.content_format is None else reply.content_format
    return zlib.crc32(reply.payload, form & 0xFFFFFFFF).to_bytes(4, "big")


def precondition(sifted: Sifted, current: Callable[[], Reply] | None) -> Reply | None:
    """Return 4.12 where If-Match or If-None-Match is not met (RFC 7252 §5.10.8).

    `current` makes the present representation, where the resource has one.
    """
    if Option.IF_NONE_MATCH in sifted.known:
        return Reply(Code.PRECONDITION_FAILED, b"there is such a resource")
    wanted = sifted.known.get(Option.IF_MATCH)
    if wanted is None or b"" in wanted:
        return None
    if current is not None and tag_of(current()) in wanted:
        return None
    return Reply(Code.PRECONDITION_FAILED, b"the resource has another entity-tag")
