"""Amplitude and phase of a response to a sine, with their uncertainty.

    y = C + A·sin(ωt) + B·cos(ωt)     least squares, ω known
    amplitude √(A² + B²)              phase atan2(B, A)

Source: three-parameter sine fit, IEEE Std 1057-2017 clause 4.6.4 (from memory).  The covariance is
s²·p²·(XᵀX)⁻¹ with s² = Σ residual² / (n − 3), p for residuals that come in runs (hil.measure.gain);
the uncertainties are standard ones (k = 1), carried through to first order, and know nothing of an
error that repeats with the sine itself.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from hil.core.instant import SECOND
from hil.measure.gain import persistence
from hil.measure.profile import Sine
from hil.measure.record import read_record
from hil.measure.span import Unmeasured

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_CONDITION_LIMIT = 1e4


@dataclass(frozen=True, slots=True, kw_only=True)
class SineFit:
    """The sine in a record: `phase` in degrees at the start; `residual` is s."""

    amplitude: float
    amplitude_uncertainty: float
    phase: float
    phase_uncertainty: float
    centre: float
    residual: float
    samples: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SineResponse:
    """How a driven sine came out: gain, and phase in degrees (negative: it lags, −180 to 180)."""

    gain: float
    gain_uncertainty: float
    phase: float
    phase_uncertainty: float
    fit: SineFit


def fit_sine(
    times: "Sequence[int] | NDArray[np.int64]",
    values: "Sequence[float] | Sequence[Decimal] | NDArray[np.float64]",
    *,
    frequency: float,
    start: int,
) -> SineFit | Unmeasured:
    """Fit a sine of known frequency, in hertz; its angle counts from `start`.

    Raises ValueError on a record that makes no sense.
    """
    import numpy as np

    instants, numbers = read_record(times, values)
    if numbers.size < 4:
        return Unmeasured("fewer than four samples of the sine")
    angles = 2 * math.pi * frequency * ((instants - start) / SECOND)
    columns = np.column_stack((np.sin(angles), np.cos(angles), np.ones_like(angles)))
    if np.linalg.cond(columns) > _CONDITION_LIMIT:
        return Unmeasured("the samples lie where they do not show the phase")
    solution, *_ = np.linalg.lstsq(columns, numbers, rcond=None)
    residuals = numbers - columns @ solution
    variance = float(residuals @ residuals) / (numbers.size - 3)
    covariance = variance * persistence(residuals) ** 2 * np.linalg.inv(columns.T @ columns)
    in_phase, quadrature, centre = (float(part) for part in solution)
    amplitude = math.hypot(in_phase, quadrature)
    if amplitude == 0:
        return Unmeasured("the response did not move")
    along = np.array([in_phase, quadrature]) / amplitude
    across = np.array([-quadrature, in_phase]) / amplitude**2
    spread = covariance[:2, :2]
    return SineFit(
        amplitude=amplitude,
        amplitude_uncertainty=math.sqrt(max(0.0, float(along @ spread @ along))),
        phase=math.degrees(math.atan2(quadrature, in_phase)),
        phase_uncertainty=math.degrees(math.sqrt(max(0.0, float(across @ spread @ across)))),
        centre=centre,
        residual=math.sqrt(variance),
        samples=int(numbers.size),
    )


def sine_response(
    times: "Sequence[int] | NDArray[np.int64]",
    values: "Sequence[float] | Sequence[Decimal] | NDArray[np.float64]",
    *,
    drive: Sine,
    start: int,
) -> SineResponse | Unmeasured:
    """Compare a response with the sine that was driven from `start` on.

    Give it samples from after the transient.  Raises ValueError where the drive has no amplitude.
    """
    if not drive.amplitude:
        raise ValueError("a driven sine has an amplitude")
    fit = fit_sine(times, values, frequency=float(drive.frequency), start=start)
    if isinstance(fit, Unmeasured):
        return fit
    size = float(drive.amplitude)
    turned = fit.phase - float(drive.phase) - (180 if size < 0 else 0)
    return SineResponse(
        gain=fit.amplitude / abs(size),
        gain_uncertainty=fit.amplitude_uncertainty / abs(size),
        phase=(turned + 180) % 360 - 180,
        phase_uncertainty=fit.phase_uncertainty,
        fit=fit,
    )
