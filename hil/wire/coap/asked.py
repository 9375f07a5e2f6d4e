"""What a third has to remember of a CoAP request until it is answered."""

from dataclasses import dataclass

from hil.core.instant import Instant
from hil.wire.coap.freshness import Ordering
from hil.wire.coap.message import Message
from hil.wire.coap.option import Option, uint
from hil.wire.coap.reading import Reading
from hil.wire.coap.transfer import Transfer
from hil.wire.said import Driven
from hil.wire.timers import NEVER


@dataclass(slots=True)
class Body:
    """A representation that may come in blocks; `asked` is None for one that came by itself."""

    reading: Reading
    transfer: Transfer
    asked: Instant | None
    doubt: str = ""


@dataclass(slots=True)
class Asked:
    """A request: of a resource, for a signal, or for more blocks of a body; when it first left.

    An answer counts up to `until`.  One that registers has an `ordering` for as long as the node
    keeps the tool informed; what it told last is fresh until `stale`.
    """

    message_id: int
    at: Instant
    until: Instant
    reading: Reading | None = None
    driven: Driven | None = None
    body: Body | None = None
    ordering: Ordering | None = None
    renewal: bool = False
    stale: Instant = NEVER
    acknowledged: bool = False
    open: bool = True


def words(message: Message, option: Option) -> tuple[str, ...]:
    return tuple(
        value.decode("utf-8", "replace") for number, value in message.options if number == option
    )


def wanted(transfer: Transfer) -> int:
    """Return the number of the block that a transfer needs next."""
    options, _ = transfer.request()
    return next((uint(value) >> 4 for number, value in options if number == Option.BLOCK2), 0)
