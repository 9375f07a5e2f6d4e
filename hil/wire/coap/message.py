"""A CoAP message and its octets (RFC 7252 §3).

     0                   1                   2                   3
     0 1 2 3 4 5 6 7 8 9 0 1 2 3 4 5 6 7 8 9 0 1 2 3 4 5 6 7 8 9 0 1
    |Ver| T |  TKL  |      Code     |          Message ID           |
    |   Token (0 to 8 octets) ...
    |   Options (each: delta and length in 4 bits each, or extended by 1 or 2 octets) ...
    |1 1 1 1 1 1 1 1|    Payload (at least one octet) ...

`decode` refuses whatever §3 and §4 tell a receiver to refuse, each with its reason.
"""

from dataclasses import dataclass
from enum import IntEnum
from operator import itemgetter
from typing import NamedTuple

from hil.wire.coap.code import Code, code_name, dotted, is_request
from hil.wire.coap.option import Options, render_option

LONGEST_TOKEN = 8
LARGEST_MESSAGE_ID = LARGEST_OPTION = 0xFFFF
_MARKER = 0xFF


class Type(IntEnum):
    """What a message is to the exchange of messages, whatever it says (RFC 7252 §4)."""

    CONFIRMABLE = 0
    NON_CONFIRMABLE = 1
    ACKNOWLEDGEMENT = 2
    RESET = 3


SHORT_NAMES = {
    Type.CONFIRMABLE: "CON",
    Type.NON_CONFIRMABLE: "NON",
    Type.ACKNOWLEDGEMENT: "ACK",
    Type.RESET: "RST",
}


class Head(NamedTuple):
    """What can be told of a message that cannot be read on: enough to reset it."""

    type: Type
    message_id: int


class Malformed(ValueError):
    """Octets that are no CoAP message, with the reason.

    `head` is there where a Reset may be due: the octets begin like a message of this version.
    """

    def __init__(self, reason: str, head: Head | None = None) -> None:
        super().__init__(reason)
        self.head = head


@dataclass(slots=True, unsafe_hash=True)
class Message:
    """One message.  Options are in the order of their numbers.

    Treat it as frozen; it is not declared so because making one must be cheap.
    """

    type: Type
    code: int
    message_id: int
    token: bytes = b""
    options: Options = ()
    payload: bytes = b""

    def __str__(self) -> str:
        parts = [f"{SHORT_NAMES[self.type]} {code_name(self.code)} id 0x{self.message_id:04x}"]
        if self.token:
            parts.append(f"token {self.token.hex()}")
        parts += [render_option(number, value) for number, value in self.options]
        if self.payload:
            parts.append(f"{len(self.payload)} octets")
        return ", ".join(parts)


_TYPES = tuple(Type)


def encode(message: Message) -> bytes:
    """Render a message.  Raises ValueError for one that has no octets (a token of nine ...)."""
    token = message.token
    if len(token) > LONGEST_TOKEN:
        raise ValueError(f"a token has at most 8 octets, not {len(token)}")
    if not 0 <= message.message_id <= LARGEST_MESSAGE_ID or not 0 <= message.code <= 0xFF:
        raise ValueError("a message id has 16 bits, and a code 8")
    out = bytearray(
        (
            0x40 | message.type << 4 | len(token),
            message.code,
            message.message_id >> 8,
            message.message_id & 0xFF,
        )
    )
    out += token
    previous = 0
    for number, value in sorted(message.options, key=itemgetter(0)):
        _put_option(out, number - previous, value)
        previous = number
    if previous > LARGEST_OPTION:
        raise ValueError(f"an option number has 16 bits, not {previous}")
    if message.payload:
        out.append(_MARKER)
        out += message.payload
    return bytes(out)


def _put_option(out: bytearray, delta: int, value: bytes) -> None:
    if delta < 0:
        raise ValueError("an option number is never negative")
    if len(value) > 269 + 0xFFFF:
        raise ValueError(f"an option has at most {269 + 0xFFFF} octets, not {len(value)}")
    length = len(value)
    short_delta, more_delta = _nibble(delta)
    short_length, more_length = _nibble(length)
    out.append(short_delta << 4 | short_length)
    out += more_delta
    out += more_length
    out += value


def _nibble(number: int) -> tuple[int, bytes]:
    """Split a delta or a length into its four bits and its extension (RFC 7252 §3.1)."""
    if number < 13:
        return number, b""
    if number < 269:
        return 13, bytes((number - 13,))
    return 14, (number - 269).to_bytes(2, "big")


def decode(octets: bytes) -> Message:
    """Read a message.  Raises Malformed with the reason, and never anything else."""
    if len(octets) < 4:
        raise Malformed(f"{len(octets)} octets, a CoAP message has at least 4")
    first, code = octets[0], octets[1]
    if first >> 6 != 1:
        raise Malformed(f"version {first >> 6}, CoAP's is 1")
    kind = _TYPES[first >> 4 & 3]
    message_id = octets[2] << 8 | octets[3]
    size = first & 0x0F
    try:
        if size > LONGEST_TOKEN:
            raise Malformed(f"token length {size}, at most 8 is allowed")
        start = 4 + size
        if start > len(octets):
            raise Malformed(f"a token of {size} octets is promised, {len(octets) - 4} are left")
        _check_code(kind, code, len(octets))
        options, payload = _options(octets, start) if len(octets) > start else ((), b"")
    except Malformed as refusal:
        refusal.head = Head(kind, message_id)
        raise
    return Message(kind, code, message_id, octets[4:start], options, payload)


def _check_code(kind: Type, code: int, length: int) -> None:
    """Refuse what RFC 7252 §4.1 to §4.3 tell a receiver to refuse."""
    if code == Code.EMPTY:
        if length > 4:
            raise Malformed(f"an empty message (0.00) has 4 octets, this one {length}")
        if kind is Type.NON_CONFIRMABLE:
            raise Malformed("an empty message is never non-confirmable")
        return
    if kind is Type.RESET:
        raise Malformed(f"a Reset is empty, this one has code {dotted(code)}")
    if code >> 5 in (1, 6, 7):
        raise Malformed(f"code {dotted(code)} is of class {code >> 5}, which is reserved")
    if kind is Type.ACKNOWLEDGEMENT and is_request(code):
        raise Malformed(f"an acknowledgement carries the request {code_name(code)}")


def _options(octets: bytes, at: int) -> tuple[Options, bytes]:
    """Read the options from `at` on, and what follows them."""
    options: list[tuple[int, bytes]] = []
    number, end = 0, len(octets)
    while at < end:
        start, first = at, octets[at]
        at += 1
        if first == _MARKER:
            if at == end:
                raise Malformed(f"a payload marker at octet {start}, and no payload behind it")
            return tuple(options), octets[at:]
        delta, length = first >> 4, first & 0x0F
        if delta > 12:
            delta, at = _extended(octets, at, delta, "delta", start)
        if length > 12:
            length, at = _extended(octets, at, length, "length", start)
        number += delta
        if number > LARGEST_OPTION:
            raise Malformed(f"the option at octet {start} has number {number}, above 65535")
        if at + length > end:
            raise Malformed(
                f"the option at octet {start} promises {length} octets, {end - at} are left"
            )
        options.append((number, octets[at : at + length]))
        at += length
    return tuple(options), b""


def _extended(octets: bytes, at: int, nibble: int, what: str, start: int) -> tuple[int, int]:
    """Read the extension of a delta or a length; return the number and where it ends."""
    if nibble == 15:
        raise Malformed(f"the option at octet {start} has {what} 15, which is reserved")
    size = 1 if nibble == 13 else 2
    if at + size > len(octets):
        raise Malformed(f"the option at octet {start} ends within its {what}")
    if size == 1:
        return octets[at] + 13, at + 1
    return (octets[at] << 8 | octets[at + 1]) + 269, at + 2


def empty(kind: Type, message_id: int) -> bytes:
    """Render an empty message: an acknowledgement, a Reset, or a ping when confirmable."""
    return bytes((0x40 | kind << 4, 0, message_id >> 8, message_id & 0xFF))
