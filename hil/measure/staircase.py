"""What was driven over time: a value held until the next, at many moments at once.

drive        any function from a time to a value
Staircase    the same for values that are held, without a call for each moment
"""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Staircase:
    """Each value holds from its time on, the first of them before as well; times rise."""

    times: "NDArray[np.int64]"
    values: "NDArray[np.float64]"

    def at(self, moments: "NDArray[np.int64]") -> "NDArray[np.float64]":
        """Return the value in force at each moment."""
        places = self.times.searchsorted(moments, side="right") - 1
        values: NDArray[np.float64] = self.values[places.clip(min=0)]
        return values


Drive = Callable[[int], Decimal] | Staircase
"""What was driven, by the time in nanoseconds since its start."""


def driven_at(drive: Drive, moments: "NDArray[np.int64]") -> "NDArray[np.float64]":
    """Return the drive at each moment."""
    import numpy as np

    if isinstance(drive, Staircase):
        return drive.at(moments)
    return np.array([float(drive(int(at))) for at in moments])
