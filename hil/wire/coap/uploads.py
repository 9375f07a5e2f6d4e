"""Bodies that do not fit into one datagram, on the node's side (RFC 7959).

A body that comes in blocks is put together here, and one that goes out in blocks because of a
request that must not be done twice is kept here.  Both are forgotten after EXCHANGE_LIFETIME.
"""

from dataclasses import dataclass, field

from hil.core.instant import Duration, Instant, after
from hil.wire.coap.block import Block
from hil.wire.coap.code import Code
from hil.wire.coap.option import Option, from_uint
from hil.wire.coap.resource import Reply

Key = tuple[object, int, tuple[str, ...], tuple[str, ...]]
"""Who asks, the method, the path and the query: what belongs together in one transfer."""


@dataclass(slots=True)
class _Upload:
    expires: Instant
    octets: bytearray = field(default_factory=bytearray)
    format: int | None = None


class Uploads:
    """The bodies on their way to a node, and the answers that are still being fetched."""

    def __init__(self, lifetime: Duration, largest: int) -> None:
        self._lifetime, self._largest = lifetime, largest
        self._uploads: dict[Key, _Upload] = {}
        self._replies: dict[Key, tuple[Instant, Reply]] = {}

    def take(
        self, key: Key, block: Block, content_format: int | None, payload: bytes, now: Instant
    ) -> bytes | Reply:
        """Take a block; return the whole body with the last one, and before that what to answer."""
        self._forget(now)
        upload = self._uploads.get(key)
        if block.number == 0:
            upload = self._uploads[key] = _Upload(now, format=content_format)
        if upload is None or len(upload.octets) != block.offset or upload.format != content_format:
            return Reply(Code.REQUEST_ENTITY_INCOMPLETE, f"Block1 {block} is out of turn".encode())
        if len(payload) > block.size or (block.more and len(payload) < block.size):
            text = f"Block1 {block} came with {len(payload)} octets"
            return Reply(Code.BAD_REQUEST, text.encode())
        upload.octets += payload
        upload.expires = after(now, self._lifetime)
        if len(upload.octets) > self._largest:
            del self._uploads[key]
            return too_large(self._largest)
        if block.more:
            return Reply(Code.CONTINUE)
        del self._uploads[key]
        return bytes(upload.octets)

    def keep(self, key: Key, reply: Reply, now: Instant) -> None:
        """Keep an answer that is fetched block by block."""
        self._forget(now)
        self._replies[key] = (after(now, self._lifetime), reply)

    def kept(self, key: Key, now: Instant) -> Reply | None:
        """Return the answer of which a further block is asked."""
        self._forget(now)
        found = self._replies.get(key)
        return found[1] if found is not None else None

    def _forget(self, now: Instant) -> None:
        """Forget what has outlived its time."""
        for upload_key in [key for key, one in self._uploads.items() if one.expires <= now]:
            del self._uploads[upload_key]
        for reply_key in [key for key, (expires, _) in self._replies.items() if expires <= now]:
            del self._replies[reply_key]


def too_large(largest: int) -> Reply:
    """Answer that a body is too large, with the size that would do (RFC 7959 §2.9.3, §4)."""
    return Reply(
        Code.REQUEST_ENTITY_TOO_LARGE,
        f"at most {largest} octets are taken".encode(),
        options=((Option.SIZE1, from_uint(largest)),),
    )
