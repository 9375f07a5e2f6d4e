"""How a response follows a driven profile: lag, gain, and the worst tracking error.

    drive      ╱╲      ╱╲          response(t) ≈ gain · drive(t − lag) + offset
    response    ·╱╲     ·╱╲
               |-| lag

The lag is where the correlation coefficient of the response with the shifted drive is greatest
(cross-correlation; Bendat and Piersol, Random Data, from memory).  The drive is known at every
moment, so only the response is resampled, by straight lines, onto a regular grid.  A parabola
through the best three lags gives the fraction of a step.  Of a periodic drive the shortest lag is
taken.

The lag's span is ±2u about the peak, half of the spacing of the samples (the mean over where the
drive moves, weighted with the square of its moves), and one grid step.  u is the standard uncertainty of a
lag fitted together with gain and offset: the residual's deviation over the root of the sum of
squares of what of the drive's slope is like neither the drive nor a constant (least squares,
GUM 5 in first order).  A plain ramp has no such part: there a lag and an offset are the same
thing, and the result is Unmeasured.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from hil.measure.record import read_record
from hil.measure.span import Span, Unmeasured

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_MOST_POINTS = 16_384
_SAME_PEAK = 1e-3
_OWN_SHAPE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Following:
    """How a response followed: lag in nanoseconds, gain and offset of the aligned drive.

    `worst` is the greatest |response − drive| as it was, at `worst_at`; `worst_aligned` what would
    be left of it without the lag.  `correlation` is the coefficient at the lag.
    """

    lag: Span
    gain: float
    offset: float
    correlation: float
    worst: float
    worst_at: int
    worst_aligned: float


def follow(
    times: "Sequence[int] | NDArray[np.int64]",
    values: "Sequence[float] | Sequence[Decimal] | NDArray[np.float64]",
    *,
    drive: Callable[[int], Decimal],
    start: int,
    longest_lag: int,
) -> Following | Unmeasured:
    """Measure how samples follow `drive(t − start)`, with lags from 0 to `longest_lag`.

    Raises ValueError on a record that makes no sense.
    """
    import numpy as np

    instants, numbers = read_record(times, values)
    if longest_lag <= 0:
        raise ValueError("the longest lag to look for is above 0")
    if numbers.size < 4 or instants[-1] == instants[0]:
        return Unmeasured("fewer than four samples of the response")
    if np.ptp(numbers) == 0:
        return Unmeasured("the response did not move")
    step = _grid_step(instants, longest_lag)
    found = _best_lag(instants, numbers, lambda at: float(drive(at - start)), step, longest_lag)
    if isinstance(found, Unmeasured):
        return found
    lag, correlation = found
    shifted = _driven(drive, instants - (start + lag))
    slope = _slope(drive, instants - (start + lag), step)
    gain, offset, spread = _line(shifted, numbers, slope)
    if spread is None or 2 * spread > longest_lag:
        return Unmeasured("the profile has no feature that tells one lag from another")
    half = math.ceil(2 * spread + _blur(instants, shifted)) + step
    errors = np.abs(numbers - _driven(drive, instants - start))
    worst = int(errors.argmax())
    return Following(
        lag=Span(lag - half, lag, lag + half),
        gain=gain,
        offset=offset,
        correlation=correlation,
        worst=float(errors[worst]),
        worst_at=int(instants[worst]),
        worst_aligned=float(np.abs(numbers - shifted).max()),
    )


def _driven(drive: Callable[[int], Decimal], moments: "NDArray[np.int64]") -> "NDArray[np.float64]":
    import numpy as np

    return np.array([float(drive(int(at))) for at in moments])


def _slope(
    drive: Callable[[int], Decimal], moments: "NDArray[np.int64]", step: int
) -> "NDArray[np.float64]":
    """Return the drive's slope, per nanosecond, over a step to either side of each moment."""
    import numpy as np

    rises = [float(drive(int(at) + step) - drive(int(at) - step)) for at in moments]
    return np.array(rises) / (2 * step)


def _blur(instants: "NDArray[np.int64]", shifted: "NDArray[np.float64]") -> float:
    """Return half of the spacing between samples, where the drive moved."""
    import numpy as np

    weights = np.diff(shifted) ** 2
    total = float(weights.sum())
    return float((weights * np.diff(instants)).sum()) / total / 2 if total else 0.0


def _grid_step(instants: "NDArray[np.int64]", longest_lag: int) -> int:
    import numpy as np

    spacing = int(np.median(np.diff(instants)))
    whole = int(instants[-1]) - int(instants[0]) + longest_lag
    return max(1, spacing // 2, whole // _MOST_POINTS)


def _best_lag(
    instants: "NDArray[np.int64]",
    numbers: "NDArray[np.float64]",
    drive: Callable[[int], float],
    step: int,
    longest_lag: int,
) -> tuple[int, float] | Unmeasured:
    """Return the lag of the greatest correlation, and the coefficient there."""
    import numpy as np

    begin, end = int(instants[0]), int(instants[-1])
    lags = longest_lag // step + 2
    grid = np.arange(begin, end + 1, step)
    response = np.interp(grid - begin, instants - begin, numbers)
    reach = range(begin - lags * step, int(grid[-1]) + 1, step)
    driven = np.array([drive(at) for at in reach])
    curve = _coefficients(driven, response)[::-1]  # by rising lag, from 0
    if curve is None or not np.isfinite(curve).any():
        return Unmeasured("the profile did not move")
    curve = np.nan_to_num(curve, nan=-1.0)
    top = float(curve.max())
    if top <= 0:
        return Unmeasured("the response does not go with the profile at any lag")
    near = curve >= top - _SAME_PEAK
    first = int(near.argmax())
    away = int((~near[first:]).argmax()) or near.size - first
    best = first + int(curve[first : first + away].argmax())
    if best * step > longest_lag:
        return Unmeasured("the response lags by more than the longest lag looked for")
    return round((best + _vertex(curve, best)) * step), float(curve[best])


def _coefficients(
    driven: "NDArray[np.float64]", response: "NDArray[np.float64]"
) -> "NDArray[np.float64]":
    """Return the correlation coefficient of the response with each window of the drive.

    NaN where the drive stands still over the whole window.
    """
    import numpy as np
    from scipy.signal import correlate

    size = response.size
    centred = response - response.mean()
    moved = driven - driven.mean()
    products = correlate(moved, centred, mode="valid", method="fft")
    sums = np.concatenate(([0.0], np.cumsum(moved)))
    squares = np.concatenate(([0.0], np.cumsum(moved * moved)))
    total = sums[size:] - sums[:-size]
    energy = squares[size:] - squares[:-size] - total * total / size
    still = energy <= 1e-12 * max(float(squares[-1]), 1e-300)
    energy[still] = np.nan
    result: NDArray[np.float64] = products / np.sqrt(energy * float(centred @ centred))
    return result


def _vertex(curve: "NDArray[np.float64]", best: int) -> float:
    """Return how far the parabola through three points peaks from the middle one, in steps."""
    if best == 0 or best + 1 >= curve.size:
        return 0.0
    before, peak, after = (float(curve[best + shift]) for shift in (-1, 0, 1))
    bend = before - 2 * peak + after
    return max(-0.5, min(0.5, 0.5 * (before - after) / bend)) if bend < 0 else 0.0


def _line(
    driven: "NDArray[np.float64]",
    numbers: "NDArray[np.float64]",
    slope: "NDArray[np.float64]",
) -> tuple[float, float, float | None]:
    """Return gain, offset and the lag's standard uncertainty; None where it cannot be told."""
    import numpy as np

    columns = np.column_stack((driven, np.ones_like(driven)))
    (gain, offset), *_ = np.linalg.lstsq(columns, numbers, rcond=None)
    residuals = numbers - columns @ np.array([gain, offset])
    deviation = math.sqrt(float(residuals @ residuals) / max(1, numbers.size - 3))
    like, *_ = np.linalg.lstsq(columns, slope, rcond=None)
    own = slope - columns @ like
    energy = float(own @ own)
    if energy <= _OWN_SHAPE * float(slope @ slope) or gain == 0:
        return float(gain), float(offset), None
    return float(gain), float(offset), deviation / (abs(float(gain)) * math.sqrt(energy))
