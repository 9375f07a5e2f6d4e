"""The two levels between which a step goes, by the modes of a histogram.

    amplitude │                 ┌────────────   ← mode of the upper half: high level
              │                ╱
              │ ──────────────┘                 ← mode of the lower half: low level
              └──────────────────────────────

Source: IEEE Std 181-2011, clause 5.2, histogram method (from memory).  Two additions of our own:
a sample counts with the time it stands for, which is the same on a regular grid and keeps a
denser sampled stretch from weighing more; and the level is the mean of the samples in the modal
bin, which is finer than the bin's centre.
"""

from typing import TYPE_CHECKING

from hil.measure.record import time_weights

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

BINS = 128
"""Bins over the whole amplitude range; IEEE 181 leaves the number to the user."""


def state_levels(
    times: "NDArray[np.int64]", values: "NDArray[np.float64]", bins: int = BINS
) -> tuple[float, float] | None:
    """Return the low and the high state level; None where the record has only one level."""
    import numpy as np

    if values.size < 2:
        return None
    low, high = float(values.min()), float(values.max())
    scale = bins / (high - low) if high > low else float("inf")
    if not np.isfinite(scale):
        return None
    heights = values - low
    heights *= scale
    places = heights.astype(np.intp)
    np.minimum(places, bins - 1, out=places)
    weights = time_weights(times)
    occupied = np.bincount(places, weights=weights, minlength=bins)
    half = bins // 2
    lower = int(occupied[:half].argmax())
    upper = half + int(occupied[half:].argmax())
    if not occupied[lower] or not occupied[upper]:
        return None
    return (
        _mean(values, weights, places == lower),
        _mean(values, weights, places == upper),
    )


def last_level(times: "NDArray[np.int64]", values: "NDArray[np.float64]") -> float:
    """Return the mean over the last tenth of the record's time (common practice, no source)."""
    import numpy as np

    begin = int(times[-1]) - (int(times[-1]) - int(times[0])) // 10
    tail = slice(int(np.searchsorted(times, begin)), None)
    weights = time_weights(times[tail]) if times[tail].size > 1 else np.zeros(1)
    if not weights.any():
        return float(values[-1])
    return float(np.average(values[tail], weights=weights))


def _mean(
    values: "NDArray[np.float64]", weights: "NDArray[np.float64]", chosen: "NDArray[np.bool_]"
) -> float:
    # a dot product may start threads, which cost far more here than they save
    return float((values[chosen] * weights[chosen]).sum() / weights[chosen].sum())
