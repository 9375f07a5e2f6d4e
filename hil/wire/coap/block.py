"""Block options: which part of a body a message carries or asks for (RFC 7959 §2.2).

The value holds the block's number, whether more follow, and the size as an exponent:
NUM in all but the lowest four bits, M in bit 3, SZX in bits 0 to 2; size = 2 ** (SZX + 4).
"""

from typing import NamedTuple

from hil.wire.coap.option import from_uint, uint

LARGEST_EXPONENT = 6
LARGEST_NUMBER = (1 << 20) - 1


class Block(NamedTuple):
    """One block: its number, whether more follow, the exponent of its size."""

    number: int
    more: bool
    exponent: int

    @property
    def size(self) -> int:
        """Octets of each block but the last."""
        return 16 << self.exponent

    @property
    def offset(self) -> int:
        """Where in the body it begins."""
        return self.number << self.exponent + 4

    def value(self) -> bytes:
        """Render the value of the option."""
        return from_uint(self.number << 4 | self.more << 3 | self.exponent)

    def __str__(self) -> str:
        """Render as RFC 7959 writes it: number/more/size."""
        return f"{self.number}/{int(self.more)}/{self.size}"


def read_block(value: bytes) -> Block | None:
    """Read the value of a block option; None for the reserved size exponent 7 (§2.2)."""
    number = uint(value)
    if number & 7 > LARGEST_EXPONENT:
        return None
    return Block(number >> 4, bool(number & 8), number & 7)


def cut(body: bytes, number: int, exponent: int) -> tuple[bytes, Block]:
    """Return one block of a body, with its option.  Past the end it is empty."""
    size = 16 << exponent
    start = number * size
    return body[start : start + size], Block(number, start + size < len(body), exponent)
