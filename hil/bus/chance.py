"""Chance that repeats: whole numbers from a seed, the same on every computer.

The generator is SplitMix64 (Steele, Lea and Flood, "Fast Splittable Pseudorandom Number
Generators", OOPSLA 2014).  Probabilities are whole numbers out of 2⁶⁴, so that no float decides
whether a frame is lost.
"""

from decimal import Decimal
from fractions import Fraction

_MASK = (1 << 64) - 1
_GAMMA = 0x9E3779B97F4A7C15
CERTAIN = 1 << 64


class Chance:
    """A stream of numbers that looks like chance and is none."""

    __slots__ = ("_state",)

    def __init__(self, seed: int, stream: int = 0) -> None:
        """Begin the stream of `seed`; another `stream` number gives another one."""
        self._state = seed & _MASK
        if stream:
            self._state = (Chance(seed ^ Chance(stream).word())).word()

    def word(self) -> int:
        """Return the next 64 bits."""
        self._state = state = (self._state + _GAMMA) & _MASK
        state = ((state ^ state >> 30) * 0xBF58476D1CE4E5B9) & _MASK
        state = ((state ^ state >> 27) * 0x94D049BB133111EB) & _MASK
        return state ^ state >> 31

    def below(self, limit: int) -> int:
        """Return a number from 0 to `limit` - 1; the bias is below limit / 2⁶⁴."""
        return self.word() * limit >> 64

    def happens(self, likely: int) -> bool:
        """Return whether something happens that is so likely, out of 2⁶⁴."""
        return self.word() < likely


def likelihood(probability: Decimal) -> int:
    """Return a probability out of 2⁶⁴.  Raises ValueError outside 0 to 1."""
    if probability.is_nan() or not 0 <= probability <= 1:
        raise ValueError(f"a probability lies from 0 to 1, not {probability}")
    return int(Fraction(probability) * CERTAIN)


def any_of(likely: int, times: int) -> int:
    """Return how likely it is that something happens at least once in so many times."""
    stays, factor = CERTAIN, CERTAIN - likely
    while times:
        if times & 1:
            stays = stays * factor >> 64
        factor = factor * factor >> 64
        times >>= 1
    return CERTAIN - stays
