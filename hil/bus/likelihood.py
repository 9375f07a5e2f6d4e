"""How likely something is, as a whole number out of 2⁶⁴ (`hil.core.chance`).

No float decides whether a frame is lost.
"""

from decimal import Decimal
from fractions import Fraction

CERTAIN = 1 << 64


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
