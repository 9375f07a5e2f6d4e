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
lag fitted together with gain and offset (hil.measure.gain): the residual's deviation over the root
of the sum of squares of what of the drive's slope is like neither the drive nor a constant.  A plain
ramp has no such part: there a lag and an offset are the same thing, and the result is Unmeasured.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from hil.measure.gain import Line, fit_line
from hil.measure.record import read_record
from hil.measure.span import Span, Unmeasured
from hil.measure.staircase import Drive, driven_at

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_MOST_POINTS = 16_384
_SAME_PEAK = 1e-3
_TRIES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Following:
    """How a response followed: lag in nanoseconds, gain and offset of the aligned drive.

    `gain_half_width` is 2u and what one grid step of the lag makes of the gain.  `worst` is the greatest |response − drive| as it was, at `worst_at`; `worst_aligned` what would
    be left of it without the lag.  `correlation` is the coefficient at the lag.
    """

    lag: Span
    gain: float
    gain_half_width: float
    offset: float
    correlation: float
    worst: float
    worst_at: int
    worst_aligned: float


def follow(
    times: "Sequence[int] | NDArray[np.int64]",
    values: "Sequence[float] | Sequence[Decimal] | NDArray[np.float64]",
    *,
    drive: Drive,
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
    if why := _too_little(instants, numbers):
        return Unmeasured(why)
    step = _grid_step(instants, longest_lag)
    found = _best_lag(instants - start, numbers, drive, step, longest_lag)
    if isinstance(found, Unmeasured):
        return found
    lag, correlation = found
    line = _line(instants, numbers, drive, start + lag, step)
    spread, shifted = line.lag_uncertainty, line.driven
    if spread is None or 2 * spread > longest_lag:
        return Unmeasured("the profile has no feature that tells one lag from another")
    half = math.ceil(2 * spread + _blur(instants, shifted)) + step
    errors = np.abs(numbers - driven_at(drive, instants - start))
    worst = int(errors.argmax())
    return Following(
        lag=Span(lag - half, lag, lag + half),
        gain=line.gain,
        gain_half_width=2 * line.gain_uncertainty + line.gain_per_lag * step,
        offset=line.offset,
        correlation=correlation,
        worst=float(errors[worst]),
        worst_at=int(instants[worst]),
        worst_aligned=float(np.abs(numbers - shifted).max()),
    )


def _too_little(instants: "NDArray[np.int64]", numbers: "NDArray[np.float64]") -> str:
    if numbers.size < 4 or instants[-1] == instants[0]:
        return "fewer than four samples of the response"
    return "" if numbers.max() > numbers.min() else "the response did not move"


def _line(
    instants: "NDArray[np.int64]",
    numbers: "NDArray[np.float64]",
    drive: Drive,
    begin: int,
    step: int,
) -> Line:
    """Fit the line; the drive's slope is taken over as much as the lag is uncertain by.

    The edges of a staircase are steep close by, and tell nothing to who is off by more than that.
    """
    line = fit_line(instants, numbers, drive=drive, begin=begin, step=step)
    for _ in range(_TRIES):
        wide = 0 if line.lag_uncertainty is None else math.ceil(2 * line.lag_uncertainty)
        if wide <= step or 2 * wide > int(instants[-1]) - int(instants[0]):
            break
        step = wide
        line = fit_line(instants, numbers, drive=drive, begin=begin, step=step)
    return line


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
    drive: Drive,
    step: int,
    longest_lag: int,
) -> tuple[int, float] | Unmeasured:
    """Return the lag of the greatest correlation, and the coefficient there."""
    import numpy as np

    begin, end = int(instants[0]), int(instants[-1])
    lags = longest_lag // step + 2
    grid = np.arange(begin, end + 1, step)
    response = np.interp(grid - begin, instants - begin, numbers)
    driven = driven_at(drive, np.arange(begin - lags * step, int(grid[-1]) + 1, step))
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
