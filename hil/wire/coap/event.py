"""What becomes of what was asked.  Each event carries its own instant.

A handle ends with one Answered or Failed, and with nothing after it.  An ask with `observe` first
gets Notified, for the registration's own answer and each notification; where Answered comes
instead, the node keeps nobody informed of that resource (any more), and its code says why.
"""

from dataclasses import dataclass
from enum import Enum

from hil.core.instant import Instant
from hil.wire.coap.option import Option, Options, uint


class Oddity(Enum):
    """What is odd about a datagram.

    MALFORMED   no CoAP message, or one that no rule allows
    STRAY       belongs to nothing that was asked, or to something that was given up
    DUPLICATE   was received before
    STALE       a notification older than one received before
    REFUSED     carries a critical option that is not understood
    REUSED      a message id used again too soon, for another message
    INCOMPLETE  a notification whose further blocks could not be fetched; not a datagram
    """

    MALFORMED = "malformed"
    STRAY = "stray"
    DUPLICATE = "duplicate"
    STALE = "stale"
    REFUSED = "refused"
    REUSED = "reused"
    INCOMPLETE = "incomplete"


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """The last answer to an ask, whole.

    `sent_at` is when its first datagram left.  `transmissions` counts the datagrams of requests
    that were sent for it, `exchanges` how many it takes without loss (one per block).
    `code` is 0.00 for the answer to a ping.
    """

    handle: int
    at: Instant
    code: int
    options: Options
    payload: bytes
    sent_at: Instant
    transmissions: int
    exchanges: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Notified:
    """A representation that the node sent by itself, whole; or the answer to a registration.

    `fresh` is false for one that is older than one received before (RFC 7641 §3.4): not to be
    used.  `sequence` is the number of its Observe option.  `solicited` marks the answer to a
    registration, whose latency counts from `sent_at`.
    """

    handle: int
    at: Instant
    code: int
    options: Options
    payload: bytes
    sequence: int
    fresh: bool
    solicited: bool = False
    sent_at: Instant | None = None
    transmissions: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lapsed:
    """A subscription's last representation is older than its Max-Age allows.

    The endpoint registers again by itself, at `renewal`.
    """

    handle: int
    at: Instant
    renewal: Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class Failed:
    """An ask without an answer, or a subscription that ended, and why."""

    handle: int
    at: Instant
    why: str
    transmissions: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Odd:
    """A datagram that was not used, or used with a doubt, and why."""

    at: Instant
    text: str
    raw: bytes
    what: Oddity


CoapEvent = Answered | Notified | Lapsed | Failed | Odd


def option_number(options: Options, option: Option) -> int | None:
    """Return the value of the first uint option of that number; None where it is absent."""
    for number, value in options:
        if number == option:
            return uint(value)
    return None
