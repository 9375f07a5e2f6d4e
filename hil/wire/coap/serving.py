"""One request at a node, from its arrival to its response.

arrived ──(delay)──> answered in the acknowledgement
   └──(ack within)──> acknowledged ──> answered in a message of its own
"""

from dataclasses import dataclass

from hil.core.instant import Instant
from hil.wire.coap.block import LARGEST_EXPONENT, Block, cut, read_block
from hil.wire.coap.code import Code, is_success
from hil.wire.coap.judging import tag_of
from hil.wire.coap.message import Message, Type
from hil.wire.coap.option import Option, Options, Sifted, from_uint
from hil.wire.coap.resource import Reply, Request, Resource
from hil.wire.coap.visitor import Content
from hil.wire.rack import Address


@dataclass(slots=True)
class Serving:
    """One request that is being worked on."""

    source: Address
    message: Message
    sifted: Sifted
    resource: Resource
    arrived: Instant
    multicast: bool = False
    acknowledged: bool = False

    @property
    def confirmable(self) -> bool:
        """Whether the client wants it acknowledged."""
        return self.message.type is Type.CONFIRMABLE

    @property
    def key(self) -> tuple[object, int, tuple[str, ...], tuple[str, ...]]:
        """What the blocks of one transfer have in common."""
        query = self.sifted.texts(Option.URI_QUERY)
        return self.source, self.message.code, self.resource.path, query

    def block(self, option: Option) -> Block | Reply | None:
        """Return a block option; 4.00 for the reserved size exponent (RFC 7959 §2.2)."""
        raw = self.sifted.first(option)
        if raw is None:
            return None
        return read_block(raw) or Reply(Code.BAD_REQUEST, b"block size exponent 7 is reserved")

    def request(self, payload: bytes, now: Instant) -> Request:
        """Return what the resource is asked."""
        return Request(
            self.message.code,
            self.resource.path,
            self.sifted.texts(Option.URI_QUERY),
            self.sifted.number(Option.ACCEPT),
            self.sifted.number(Option.CONTENT_FORMAT),
            payload,
            now,
        )


def content_of(
    reply: Reply, wanted: Block | None, exponent: int, sifted: Sifted | None = None
) -> Content:
    """Turn a reply into code, options and payload; one block of it where it is too long.

    `wanted` is the block that was asked for, `exponent` the largest block that is sent.
    """
    options: list[tuple[int, bytes]] = list(reply.options)
    if reply.content_format is not None:
        options.append((Option.CONTENT_FORMAT, from_uint(reply.content_format)))
    if reply.max_age is not None:
        options.append((Option.MAX_AGE, from_uint(reply.max_age)))
    known = sifted.known.get(Option.ETAG) if sifted is not None else None
    if known is not None and reply.code == Code.CONTENT and tag_of(reply) in known:
        return Code.VALID, ((Option.ETAG, tag_of(reply)), *_ages(options)), b""
    if not is_success(reply.code):
        return reply.code, tuple(options), reply.payload[: 16 << LARGEST_EXPONENT]
    exponent = min(exponent, wanted.exponent if wanted is not None else LARGEST_EXPONENT)
    if wanted is None and len(reply.payload) <= 16 << exponent:
        return reply.code, tuple(options), reply.payload
    return _sliced(reply, options, wanted, exponent)


def _sliced(
    reply: Reply, options: list[tuple[int, bytes]], wanted: Block | None, exponent: int
) -> Content:
    """Cut out the block that was asked for, in the size that is sent (RFC 7959 §2.4)."""
    offset = wanted.offset if wanted is not None else 0
    if offset and offset >= len(reply.payload):
        return Code.BAD_REQUEST, (), f"Block2 {wanted} lies behind the end".encode()
    payload, block = cut(reply.payload, offset >> exponent + 4, exponent)
    options.append((Option.ETAG, tag_of(reply)))
    options.append((Option.BLOCK2, block.value()))
    if block.number == 0:
        options.append((Option.SIZE2, from_uint(len(reply.payload))))
    return reply.code, tuple(options), payload


def _ages(options: list[tuple[int, bytes]]) -> Options:
    return tuple(entry for entry in options if entry[0] == Option.MAX_AGE)
