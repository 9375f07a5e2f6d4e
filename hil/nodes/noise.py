"""The noise of one node: chance that repeats (`hil.core.chance`), shaped as nodes need it.

Each node has its own stream, so that what one node does never changes the noise of another.
"""

from hil.core.chance import Chance
from hil.core.instant import Duration

_SQRT3_PER_WORD = 3**0.5 / 65_536
_FNV_PRIME, _FNV_START = 0x100000001B3, 0xCBF29CE484222325
_MASK = (1 << 64) - 1

BOUND = 2 * 3**0.5
"""`Noise.bell` never leaves ± this: a bench file can promise a width that is never exceeded."""


class Noise(Chance):
    """A stream of numbers that looks like chance and is none."""

    __slots__ = ()

    def __init__(self, seed: int, name: str = "") -> None:
        """Begin the stream of `seed`; another `name` gives another stream."""
        super().__init__(seed ^ _digest(name) if name else seed)

    def bell(self) -> float:
        """Return a number around 0 with standard deviation 1, bell-shaped, within ± BOUND.

        The sum of four uniform numbers (Irwin-Hall distribution): variance 4 / 12, so √3 times
        the sum less its mean has variance 1.
        """
        word = self.word()
        four = (word & 0xFFFF) + (word >> 16 & 0xFFFF) + (word >> 32 & 0xFFFF) + (word >> 48)
        return (four - 131_070) * _SQRT3_PER_WORD

    def between(self, low: Duration, high: Duration) -> Duration:
        """Return a duration from `low` to `high`, each as likely."""
        return Duration(low + self.word() % (high - low + 1)) if high > low else low


def _digest(name: str) -> int:
    """Return 64 bits of a name (FNV-1a); Python's own `hash` differs from run to run."""
    state = _FNV_START
    for octet in name.encode():
        state = ((state ^ octet) * _FNV_PRIME) & _MASK
    return state
