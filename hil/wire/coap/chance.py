"""The chance in back-offs and renewals: it repeats, being made from a seed.

The generator is SplitMix64 (Steele, Lea and Flood, "Fast Splittable Pseudorandom Number
Generators", OOPSLA 2014).
"""

_MASK = (1 << 64) - 1


class Chance:
    """A stream of numbers that looks like chance and is none."""

    __slots__ = ("_state",)

    def __init__(self, seed: int) -> None:
        self._state = seed & _MASK

    def between(self, low: int, high: int) -> int:
        """Return a number from `low` to `high`, both possible; the bias is below span / 2⁶⁴."""
        self._state = word = (self._state + 0x9E3779B97F4A7C15) & _MASK
        word = ((word ^ word >> 30) * 0xBF58476D1CE4E5B9) & _MASK
        word = ((word ^ word >> 27) * 0x94D049BB133111EB) & _MASK
        word ^= word >> 31
        return low + (word * (high - low + 1) >> 64)
