"""Options: their numbers, what their values may be, and which of a message can be understood.

An odd number is critical: who does not understand such an option must not act on the message.
An even one is elective and is passed over (RFC 7252 §5.4.1).  A value of a length that the table
does not allow, an option that is given too often, and one that has no business in such a message
are treated like an option nobody understands (§5.4.3, §5.4.5, §5.10).
"""

from collections.abc import Iterable
from enum import Enum, IntEnum
from typing import NamedTuple

Options = tuple[tuple[int, bytes], ...]
"""Number and value of each option, in the order of their numbers."""


class Option(IntEnum):
    """The option numbers of RFC 7252 §5.10, RFC 7641 §2 and RFC 7959 §2.1 and §4."""

    IF_MATCH = 1
    URI_HOST = 3
    ETAG = 4
    IF_NONE_MATCH = 5
    OBSERVE = 6
    URI_PORT = 7
    LOCATION_PATH = 8
    URI_PATH = 11
    CONTENT_FORMAT = 12
    MAX_AGE = 14
    URI_QUERY = 15
    ACCEPT = 17
    LOCATION_QUERY = 20
    BLOCK2 = 23
    BLOCK1 = 27
    SIZE2 = 28
    PROXY_URI = 35
    PROXY_SCHEME = 39
    SIZE1 = 60


class Format(Enum):
    """What the value of an option is (RFC 7252 §3.2)."""

    EMPTY = "empty"
    OPAQUE = "opaque"
    UINT = "uint"
    STRING = "string"


class Definition(NamedTuple):
    """What the table says of an option: lengths in octets, and where it may stand."""

    name: str
    format: Format
    shortest: int
    longest: int
    repeatable: bool
    in_request: bool
    in_response: bool


_E, _O, _U, _S = Format.EMPTY, Format.OPAQUE, Format.UINT, Format.STRING

DEFINITIONS: dict[int, Definition] = {
    Option.IF_MATCH: Definition("If-Match", _O, 0, 8, True, True, False),
    Option.URI_HOST: Definition("Uri-Host", _S, 1, 255, False, True, False),
    Option.ETAG: Definition("ETag", _O, 1, 8, True, True, True),
    Option.IF_NONE_MATCH: Definition("If-None-Match", _E, 0, 0, False, True, False),
    Option.OBSERVE: Definition("Observe", _U, 0, 3, False, True, True),
    Option.URI_PORT: Definition("Uri-Port", _U, 0, 2, False, True, False),
    Option.LOCATION_PATH: Definition("Location-Path", _S, 0, 255, True, False, True),
    Option.URI_PATH: Definition("Uri-Path", _S, 0, 255, True, True, False),
    Option.CONTENT_FORMAT: Definition("Content-Format", _U, 0, 2, False, True, True),
    Option.MAX_AGE: Definition("Max-Age", _U, 0, 4, False, False, True),
    Option.URI_QUERY: Definition("Uri-Query", _S, 0, 255, True, True, False),
    Option.ACCEPT: Definition("Accept", _U, 0, 2, False, True, False),
    Option.LOCATION_QUERY: Definition("Location-Query", _S, 0, 255, True, False, True),
    Option.BLOCK2: Definition("Block2", _U, 0, 3, False, True, True),
    Option.BLOCK1: Definition("Block1", _U, 0, 3, False, True, True),
    Option.SIZE2: Definition("Size2", _U, 0, 4, False, True, True),
    Option.PROXY_URI: Definition("Proxy-Uri", _S, 1, 1034, False, True, False),
    Option.PROXY_SCHEME: Definition("Proxy-Scheme", _S, 1, 255, False, True, False),
    Option.SIZE1: Definition("Size1", _U, 0, 4, False, True, True),
}
"""RFC 7252 table 4, RFC 7641 table 1, RFC 7959 tables 1 and 4."""

_ONCE_IN_RESPONSE = frozenset({Option.ETAG})
"""A response carries one entity-tag (RFC 7252 §5.10.6.1)."""


def is_critical(number: int) -> bool:
    """Return whether an option must be understood (RFC 7252 §5.4.6)."""
    return bool(number & 1)


def option_name(number: int) -> str:
    """Render an option number for people."""
    known = DEFINITIONS.get(number)
    return known.name if known else f"option {number}"


def uint(value: bytes) -> int:
    """Read an unsigned number; no octets at all are 0 (RFC 7252 §3.2)."""
    return int.from_bytes(value, "big")


def from_uint(number: int) -> bytes:
    """Render an unsigned number in as few octets as it takes (RFC 7252 §3.2)."""
    return number.to_bytes((number.bit_length() + 7) // 8, "big")


class Sifted(NamedTuple):
    """The options of a message: those understood, and the critical ones that are not."""

    known: dict[int, list[bytes]]
    refused: tuple[int, ...]

    def number(self, option: int) -> int | None:
        """Return the value of a uint option; None where it is absent."""
        values = self.known.get(option)
        return int.from_bytes(values[0], "big") if values else None

    def first(self, option: int) -> bytes | None:
        """Return the first value of an option; None where it is absent."""
        values = self.known.get(option)
        return values[0] if values else None

    def texts(self, option: int) -> tuple[str, ...]:
        """Return the values of a string option, in their order."""
        return tuple([value.decode("utf-8", "replace") for value in self.known.get(option, ())])


def sift(options: Iterable[tuple[int, bytes]], request: bool) -> Sifted:
    """Separate what is understood from what is not, in a request or in a response."""
    known: dict[int, list[bytes]] = {}
    refused: list[int] = []
    for number, value in options:
        if _fits(number, value, known, request):
            known.setdefault(number, []).append(value)
        elif number & 1:
            refused.append(number)
    return Sifted(known, tuple(refused))


def _fits(number: int, value: bytes, known: dict[int, list[bytes]], request: bool) -> bool:
    definition = DEFINITIONS.get(number)
    if definition is None or not definition.shortest <= len(value) <= definition.longest:
        return False
    if not (definition.in_request if request else definition.in_response):
        return False
    repeatable = definition.repeatable and (request or number not in _ONCE_IN_RESPONSE)
    if not repeatable and number in known:
        return False
    return definition.format is not Format.STRING or _is_text(value)


def _is_text(value: bytes) -> bool:
    try:
        value.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def render_option(number: int, value: bytes) -> str:
    """Render an option for people: `Uri-Path: press`, `Observe: 12`, `option 65000: 0x0102`."""
    definition = DEFINITIONS.get(number)
    shown = f"0x{value.hex()}"
    if definition is not None and definition.shortest <= len(value) <= definition.longest:
        if definition.format is Format.UINT:
            shown = str(uint(value))
        elif definition.format is Format.STRING and _is_text(value):
            shown = value.decode("utf-8")
    return f"{option_name(number)}: {shown}"
