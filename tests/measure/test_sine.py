"""Sine fits: gain and phase, and uncertainties that mean what they say."""

import math
from decimal import Decimal as D

import numpy as np
import pytest
import scipy.optimize
import scipy.signal
from measure.responses import SECOND, irregular, regular

from hil.measure.profile import Sine
from hil.measure.sine import fit_sine, sine_response
from hil.measure.span import Unmeasured

DRIVE = Sine(centre=D(20), amplitude=D(5), frequency=D("0.5"), phase=D(15))


def wave(times, amplitude, phase, centre=0.0, frequency=0.5):
    return centre + amplitude * np.sin(2 * np.pi * frequency * times / SECOND + math.radians(phase))


@pytest.mark.parametrize("phase", [-170, -45, 0, 15, 90, 179])
@pytest.mark.parametrize("seed", [None, 2], ids=["regular", "irregular"])
def test_a_clean_sine_is_found_exactly(phase, seed):
    times = regular(1, 6.3, 60) if seed is None else irregular(1, 6.3, 60, seed)

    found = fit_sine(times, wave(times, 3.5, phase, 21.0), frequency=0.5, start=0)

    assert (found.amplitude, found.centre) == pytest.approx((3.5, 21.0), rel=1e-9)
    assert found.phase == pytest.approx(phase, abs=1e-6)
    assert found.residual < 1e-6


def test_gain_and_phase_of_a_first_order_lag_are_those_of_its_transfer_function():
    tau, omega = 0.4, math.pi
    gain, phase = 1 / math.hypot(1, omega * tau), -math.degrees(math.atan(omega * tau))
    peer = scipy.signal.lti([1.0], [tau, 1.0]).freqresp([omega])[1][0]
    times = irregular(10, 30, 400, seed=6)
    values = wave(times, 5 * gain, 15 + phase, 20.0)

    found = sine_response(times, values, drive=DRIVE, start=0)

    assert found.gain == pytest.approx(abs(peer), rel=1e-9)
    assert found.phase == pytest.approx(math.degrees(np.angle(peer)), abs=1e-6)


def test_the_fit_agrees_with_scipys_curve_fit():
    times = irregular(0, 8, 200, seed=9)
    values = wave(times, 2.0, 40, 1.0) + np.random.default_rng(1).normal(0, 0.2, 200)

    def model(t, amplitude, phase, centre):
        return centre + amplitude * np.sin(np.pi * t + phase)

    peer, covariance = scipy.optimize.curve_fit(model, times / SECOND, values, p0=[2, 0.7, 1])
    found = fit_sine(times, values, frequency=0.5, start=0)

    assert (found.amplitude, math.radians(found.phase)) == pytest.approx(peer[:2], rel=1e-5)
    assert found.amplitude_uncertainty == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-3)
    assert math.radians(found.phase_uncertainty) == pytest.approx(
        math.sqrt(covariance[1, 1]), rel=1e-3
    )


def test_the_uncertainties_cover_as_often_as_they_say():
    chance = np.random.default_rng(3)
    times = regular(0, 10, 120)
    clean = wave(times, 2.0, 40)
    inside = []
    for _ in range(800):
        found = fit_sine(times, clean + chance.normal(0, 0.3, 120), frequency=0.5, start=0)
        inside.append(
            (
                abs(found.amplitude - 2) <= 1.98 * found.amplitude_uncertainty,
                abs(found.phase - 40) <= 1.98 * found.phase_uncertainty,
            )
        )

    # t for 117 degrees of freedom at 95 % is 1.98
    assert np.mean(inside, axis=0) == pytest.approx((0.95, 0.95), abs=0.025)


def test_an_upside_down_response_is_half_a_turn_late():
    times = regular(0, 10, 100)
    found = sine_response(times, wave(times, -5, 15), drive=DRIVE, start=0)

    assert (found.gain, abs(found.phase)) == pytest.approx((1, 180))


@pytest.mark.parametrize(
    ("times", "values", "why"),
    [
        ([0, 1, 2], [1.0, 2.0, 3.0], "fewer than four"),
        ([0, SECOND, 2 * SECOND, 3 * SECOND], [0.0, 0.0, 0.0, 0.0], "do not show the phase"),
        ([0, SECOND // 3, SECOND, SECOND * 3 // 2], [0.0, 0.0, 0.0, 0.0], "did not move"),
    ],
)
def test_records_that_show_no_sine_say_why(times, values, why):
    found = fit_sine(times, values, frequency=0.5, start=0)

    assert isinstance(found, Unmeasured)
    assert why in found.why


def test_a_drive_without_amplitude_is_refused():
    still = Sine(centre=D(0), amplitude=D(0), frequency=D(1))
    with pytest.raises(ValueError):
        sine_response([0], [0.0], drive=still, start=0)
