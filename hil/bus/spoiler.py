"""What the line does to frames: single bits turned over, and frames swallowed whole.

A frame with a bit error fails its check sequence and no receiver takes it; that one in 2³² of
them would pass all the same is left out.  Everybody on the line loses the same frames.
"""

from dataclasses import dataclass
from decimal import Decimal

from hil.bus.likelihood import any_of, likelihood
from hil.core.chance import Chance


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """How bad a line is: its bit error rate, and the part of its frames swallowed whole."""

    bit_errors: Decimal = Decimal(0)
    loss: Decimal = Decimal(0)


SILENCE = Noise()


class Spoiler:
    """Decides, frame by frame and in their order on the line, what becomes of them.

    Raises ValueError for a probability outside 0 to 1.
    """

    __slots__ = ("_bit", "_chance", "_loss", "_spoilt")

    def __init__(self, noise: Noise, seed: int) -> None:
        self._loss = likelihood(noise.loss)
        self._bit = likelihood(noise.bit_errors)
        self._chance = Chance(seed)
        self._spoilt: dict[int, int] = {}

    def swallows(self) -> bool:
        """Return whether noise swallows the next frame."""
        return self._loss > 0 and self._chance.happens(self._loss)

    def spoils(self, bits: int) -> bool:
        """Return whether at least one bit of the next frame, so many bits long, is turned over."""
        if not self._bit:
            return False
        likely = self._spoilt.get(bits)
        if likely is None:
            likely = self._spoilt[bits] = any_of(self._bit, bits)
        return self._chance.happens(likely)
