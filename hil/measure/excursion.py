"""How far a response went beyond its levels: as sampled, and as it can have been in between.

    figure      from                                    to
    overshoot   the highest sample, less the noise      the ceiling of the record (hil.measure.ceiling)
    undershoot  the lowest, likewise                    the ceiling of the record turned over

Each in % of the step, 0 at least.  `held` says that the record has no gaps: its signal reports
every change, so between two samples it has not moved, and only the noise is left.
"""

from typing import TYPE_CHECKING

from hil.measure.ceiling import ceiling
from hil.measure.span import Range
from hil.measure.step_response import StepResponse, Variant

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


def overshoot(found: StepResponse, *, held: bool = False, look: int = 0) -> Range:
    """Return how far it went beyond the final level; `look` as for the ceiling."""
    noise = found.shape.noise
    high = found.overshoot + 100 * noise
    if not held:
        highest = _ceiling(found, found.rising, found.shape.heights, look)
        high = max(0.0, 100 * (highest - 1))
    return _range(found.overshoot, noise, high)


def undershoot(found: StepResponse, *, held: bool = False, look: int = 0) -> Range:
    """Return how far it went the other way, where the terms of the response look for that."""
    noise, heights = found.shape.noise, -found.shape.heights
    high = found.undershoot + 100 * noise
    if not held and found.variant is Variant.CONTROL:
        high = max(0.0, 100 * _ceiling(found, 0, heights, look))
    elif not held:
        swung = found.undershoot > 0 or overshoot(found, look=look).high > 0
        high = max(0.0, 100 * (1 + _ceiling(found, found.top, heights, look))) if swung else 0.0
    return _range(found.undershoot, noise, high)


def _ceiling(found: StepResponse, first: int, heights: "NDArray[np.float64]", look: int) -> float:
    """Return the ceiling from a sample on; the one in force at the step has not moved until then."""
    times = found.shape.times[first:]
    if found.variant is Variant.CONTROL and found.step is not None:
        times = times.clip(min=min(found.step, int(times[-1])))
    return ceiling(times, heights[first:], found.shape.noise, look)


def _range(sampled: float, noise: float, high: float) -> Range:
    return Range(max(0.0, sampled - 100 * noise), sampled, max(high, sampled))
