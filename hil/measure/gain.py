"""How far a response moves for what is driven: the slope of a straight line, and how sure it is.

    r(t) = gain · c(t − lag) + offset        least squares, at the lag that was found
    u    = s · √(entry of (XᵀX)⁻¹) · p       X: c, its slope over time, 1; s² = Σ residual² / (n − 3)
    p    = √(1 + 2 Σ ρ(k))                   ρ(k): autocorrelation of the residuals, up to the first
                                             that is not positive

The slope stands in X because the lag is fitted as well: its column carries the lag's own uncertainty,
and what of it is like c or 1 widens the gain's.  p is above 1 where residuals come in runs, as they
do where a response has a shape of its own; so many samples then tell less than as many by chance.

Sources: least squares with its covariance, JCGM 100 (GUM) H.3; the effective number n / p² of samples
of a series that follows itself, von Storch and Zwiers, Statistical Analysis in Climate Research,
6.6.8 (both from memory).
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hil.measure.staircase import Drive, driven_at

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]

_OWN_SHAPE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The line at one lag: standard uncertainties of gain and lag (ns), and the drive it is of.

    `gain_per_lag` is by how much the gain would change for each ns that the lag is wrong.
    `lag_uncertainty` is None where the drive has no feature that tells one lag from another.
    """

    gain: float
    gain_uncertainty: float
    gain_per_lag: float
    offset: float
    lag_uncertainty: float | None
    driven: "Numbers"


def fit_line(
    instants: "NDArray[np.int64]",
    numbers: "Numbers",
    *,
    drive: Drive,
    begin: int,
    step: int,
) -> Line:
    """Fit samples to `drive(t − begin)`, whose slope is taken over `step` to either side."""
    import numpy as np

    driven = driven_at(drive, instants - begin)
    slope = _slope(drive, instants - begin, step)
    columns = np.column_stack((driven, np.ones_like(driven)))
    (gain, offset), *_ = np.linalg.lstsq(columns, numbers, rcond=None)
    residuals = numbers - columns @ np.array([gain, offset])
    deviation = math.sqrt(float(residuals @ residuals) / max(1, numbers.size - 3))
    deviation *= persistence(residuals)
    own_slope = _apart(slope, columns)
    own_drive = _apart(driven, np.column_stack((slope, np.ones_like(slope))))
    shown = float(own_slope @ own_slope) > _OWN_SHAPE * float(slope @ slope) and gain != 0
    lag = deviation / (abs(float(gain)) * float(np.linalg.norm(own_slope))) if shown else None
    moved, swing = float(np.linalg.norm(own_drive)), driven - driven.mean()
    return Line(
        gain=float(gain),
        gain_uncertainty=deviation / moved if moved else math.inf,
        gain_per_lag=abs(float(gain) * float(slope @ swing) / float(swing @ swing)),
        offset=float(offset),
        lag_uncertainty=lag,
        driven=driven,
    )


def persistence(residuals: "Numbers") -> float:
    """Return p, by which a standard uncertainty grows where residuals come in runs; 1 at least."""
    from scipy.signal import correlate

    centred = residuals - residuals.mean()
    alike = correlate(centred, centred, mode="full", method="fft")[residuals.size - 1 :]
    if not alike[0] > 0:
        return 1.0
    alike /= alike[0]
    ends = (alike <= 0).nonzero()[0]
    last = int(ends[0]) if ends.size else residuals.size
    return math.sqrt(1 + 2 * float(alike[1:last].sum()))


def _slope(drive: Drive, moments: "NDArray[np.int64]", step: int) -> "Numbers":
    """Return the drive's slope, per nanosecond, over a step to either side of each moment."""
    return (driven_at(drive, moments + step) - driven_at(drive, moments - step)) / (2 * step)


def _apart(column: "Numbers", others: "Numbers") -> "Numbers":
    """Return what of a column is like none of the others."""
    import numpy as np

    like, *_ = np.linalg.lstsq(others, column, rcond=None)
    rest: NDArray[np.float64] = column - others @ like
    return rest
