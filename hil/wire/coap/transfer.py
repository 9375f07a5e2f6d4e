"""One body there and one back, in as many requests as they need (RFC 7959).

A transfer says what the next request carries (`request`) and takes the response to it (`take`).
It knows nothing of datagrams, tokens and time.

    upload      Block1: the body of the request goes block by block; 2.31 asks for the next one
    download    Block2: the body of the response comes block by block, all of one ETag
"""

from typing import NamedTuple

from hil.wire.coap.ask import Ask
from hil.wire.coap.block import LARGEST_NUMBER, Block, cut, read_block
from hil.wire.coap.code import Code, code_name, is_success
from hil.wire.coap.message import Message
from hil.wire.coap.option import Option, Options, Sifted, from_uint
from hil.wire.coap.parameters import Parameters

MOST_RESTARTS = 4
"""How often a body may change while it is being fetched before that is given up."""


class Content(NamedTuple):
    """A whole response: the options are those of its first message."""

    code: int
    options: Options
    payload: bytes


class Broken(Exception):
    """The node's blocks do not make a body; the text says why."""


class Transfer:
    """The blocks of one ask."""

    __slots__ = (
        "_body",
        "_downloading",
        "_early",
        "_exponent",
        "_fetched",
        "_first",
        "_largest",
        "_options",
        "_restarts",
        "_safe",
        "_sending",
        "_shrunk",
        "_tag",
    )

    def __init__(self, ask: Ask, parameters: Parameters) -> None:
        self._safe = ask.method in (Code.GET, Code.FETCH)
        self._options = ask.options()
        self._body = ask.payload
        self._exponent = parameters.block_exponent
        self._largest = parameters.largest_body
        self._early = parameters.early
        self._sending = Block(0, False, self._exponent)
        """The part of our body that is on its way, or was last."""
        self._shrunk = False
        self._downloading = False
        self._fetched = bytearray()
        self._first: Message | None = None
        self._tag: bytes | None = None
        self._restarts = 0

    def request(self) -> tuple[Options, bytes]:
        """Return the options and the payload of the next request, without Observe."""
        options = list(self._options)
        if self._downloading:
            options.append((Option.BLOCK2, self._wanted().value()))
            return tuple(options), b""
        if self._early:
            options.append((Option.BLOCK2, Block(0, False, self._exponent).value()))
        payload, block = cut(self._body, self._sending.number, self._sending.exponent)
        self._sending = block
        if block.number or block.more or self._shrunk:
            options.append((Option.BLOCK1, block.value()))
            if block.number == 0:
                options.append((Option.SIZE1, from_uint(len(self._body))))
        return tuple(options), payload

    def take(self, message: Message, sifted: Sifted) -> Content | None:
        """Take the response to the last request; return the whole, or None while parts lack.

        Raises Broken.
        """
        if not self._downloading and self._goes_on(message.code, sifted):
            return None
        raw = sifted.first(Option.BLOCK2)
        if raw is None or not is_success(message.code):
            return self._plain(message)
        block = read_block(raw)
        if block is None:
            raise Broken("the node answered with block size exponent 7, which is reserved")
        return self._block(message, sifted.first(Option.ETAG), block)

    # Our body, block by block

    def _goes_on(self, code: int, sifted: Sifted) -> bool:
        """Say whether a response asks for the next part of our body, and turn to that part."""
        raw = sifted.first(Option.BLOCK1)
        block = None if raw is None else read_block(raw)
        sending = self._sending
        if code == Code.REQUEST_ENTITY_TOO_LARGE:
            return self._starts_smaller(block)
        if not is_success(code) or not (sending.more or code == Code.CONTINUE):
            return False
        if block is None:
            raise Broken(f"{code_name(code)} without Block1, {sending} was sent")
        same = block.number == sending.number or block.offset == sending.offset
        if not same or not sending.more:
            raise Broken(f"{code_name(code)} for Block1 {block}, {sending} was sent")
        exponent = min(block.exponent, sending.exponent)
        number = sending.number + 1 << sending.exponent - exponent
        if number > LARGEST_NUMBER:
            raise Broken("the body has more blocks than a block number can tell")
        self._sending = Block(number, False, exponent)
        return True

    def _starts_smaller(self, block: Block | None) -> bool:
        """Begin again in smaller blocks where 4.13 says how small (RFC 7959 §2.9.3)."""
        sending = self._sending
        blockwise = sending.more or sending.number or self._shrunk
        sent = sending.size if blockwise else len(self._body)
        if block is None or block.size >= sent:
            return False
        self._shrunk = True
        self._sending = Block(0, False, min(block.exponent, sending.exponent))
        return True

    # The node's body, block by block

    def _plain(self, message: Message) -> Content:
        if self._downloading and is_success(message.code):
            raise Broken(f"Block2 {self._wanted()} was asked, the answer has no Block2")
        return Content(message.code, message.options, message.payload)

    def _wanted(self) -> Block:
        """Return the block of the node's body that comes next."""
        return Block(len(self._fetched) >> self._exponent + 4, False, self._exponent)

    def _block(self, message: Message, tag: bytes | None, block: Block) -> Content | None:
        if self._first is not None and tag != self._tag:
            return self._restart(message, tag, block)
        too_large = self._downloading and block.exponent > self._exponent
        if block.offset != len(self._fetched) or too_large:
            raise Broken(f"Block2 {self._wanted()} was asked, {block} came")
        if len(message.payload) > block.size or (block.more and len(message.payload) < block.size):
            raise Broken(f"Block2 {block} came with {len(message.payload)} octets")
        if self._first is None:
            self._first, self._tag = message, tag
        self._downloading = True
        self._exponent = min(self._exponent, block.exponent)
        self._fetched += message.payload
        if len(self._fetched) > self._largest:
            raise Broken(f"the body is larger than {self._largest} octets")
        if block.more:
            return None
        return Content(self._first.code, self._first.options, bytes(self._fetched))

    def _restart(self, message: Message, tag: bytes | None, block: Block) -> Content | None:
        """Fetch a body from its beginning that changed on the way (RFC 7959 §2.4).

        That would ask anything but a GET or FETCH to be done a second time.
        """
        self._restarts += 1
        if self._restarts > MOST_RESTARTS or not self._safe:
            times = f"{self._restarts} time{'s' * (self._restarts > 1)}"
            raise Broken(f"the body changed {times} while it was fetched")
        self._fetched.clear()
        self._first = None
        return self._block(message, tag, block) if block.number == 0 else None
