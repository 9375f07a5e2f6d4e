"""Samples as arrays, checked once.

A record is two arrays of the same length: instants in whole nanoseconds that never go back, and
the values at those instants.
"""

from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


def read_record(
    times: "Sequence[int] | NDArray[np.int64]",
    values: "Sequence[float] | Sequence[Decimal] | NDArray[np.float64]",
) -> "tuple[NDArray[np.int64], NDArray[np.float64]]":
    """Return instants and values as arrays.

    Raises ValueError where the lengths differ, an instant is not a whole number or comes before
    the one ahead of it, or a value is not a finite number.
    """
    import numpy as np

    instants = np.asarray(times)
    if instants.size and instants.dtype.kind not in "iu":
        raise ValueError("instants are whole nanoseconds")
    numbers = np.asarray(values, dtype=np.float64)
    if instants.ndim != 1 or instants.shape != numbers.shape:
        raise ValueError(f"{instants.size} instants for {numbers.size} values")
    whole = instants.astype(np.int64, copy=False)
    if (whole[1:] < whole[:-1]).any():
        raise ValueError("an instant comes before the one ahead of it")
    if not np.isfinite(numbers).all():
        raise ValueError("a value is not a finite number")
    return whole, numbers


def time_weights(times: "NDArray[np.int64]") -> "NDArray[np.float64]":
    """Return how much time each sample stands for: half of the way to either neighbour.

    For two samples or more.
    """
    import numpy as np

    weights = np.empty(times.size)
    np.subtract(times[2:], times[:-2], out=weights[1:-1], casting="unsafe")
    weights[[0, -1]] = times[1] - times[0], times[-1] - times[-2]
    weights *= 0.5
    return weights
