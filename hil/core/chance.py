"""Chance that repeats: whole numbers from a seed, the same on every computer.

The generator is SplitMix64 (Steele, Lea and Flood, "Fast Splittable Pseudorandom Number
Generators", OOPSLA 2014): one 64-bit counter and a mixing function.  Probabilities are whole
numbers out of 2⁶⁴, so that no float decides whether something happens.
"""

_MASK = (1 << 64) - 1
_GAMMA = 0x9E3779B97F4A7C15


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
