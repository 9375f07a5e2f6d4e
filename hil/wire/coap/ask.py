"""What the tool asks of a CoAP node."""

from dataclasses import dataclass

from hil.core.instant import Instant
from hil.wire.coap.code import Code
from hil.wire.coap.option import Option, Options, from_uint


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """A request, or with `observe` the wish to be kept informed.

    The answer counts up to and at `until`; for a subscription that is the first answer, and the
    subscription lasts until it is cancelled.  `accept` and `content_format` are numbers of the
    registry of RFC 7252 §12.3.  A payload of any length will do; long ones go block by block.
    """

    method: int = Code.GET
    path: tuple[str, ...] = ()
    query: tuple[str, ...] = ()
    accept: int | None = None
    content_format: int | None = None
    payload: bytes = b""
    observe: bool = False
    confirmable: bool = True
    until: Instant

    def options(self) -> Options:
        """Return the options that every request of this ask carries, in their order."""
        made: list[tuple[int, bytes]] = [
            (Option.URI_PATH, segment.encode()) for segment in self.path
        ]
        if self.content_format is not None:
            made.append((Option.CONTENT_FORMAT, from_uint(self.content_format)))
        made += [(Option.URI_QUERY, part.encode()) for part in self.query]
        if self.accept is not None:
            made.append((Option.ACCEPT, from_uint(self.accept)))
        return tuple(made)
