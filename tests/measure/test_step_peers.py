"""Step responses against python-control and scipy, over a grid of damping ratios."""

import control
import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st
from measure.responses import SECOND, irregular, regular, second_order

from hil.measure.span import Unmeasured
from hil.measure.step_response import from_step, ieee_181

DAMPING = [0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.3, 2.0]


def simulated(zeta, times):
    """Return scipy's own simulation of the system at the instants."""
    system = scipy.signal.lti([1.0], [1.0, 2 * zeta, 1.0])
    _, response = scipy.signal.step(system, T=times / SECOND)
    return response


@pytest.mark.parametrize("zeta", DAMPING)
@pytest.mark.parametrize("seed", [None, 3], ids=["regular", "irregular"])
def test_from_step_agrees_with_step_info_to_one_sample(zeta, seed):
    end = 10 / min(zeta, 1 / zeta)
    times = regular(0, end, 8_001) if seed is None else irregular(0, end, 8_001, seed)
    values = second_order(times / SECOND, zeta, 1)
    peer = control.step_info(values, T=times / SECOND, yfinal=1.0)

    found = from_step(times, values, step=0, final=1.0)

    widest = np.diff(times).max() / SECOND
    assert abs(found.transition.likely / SECOND - peer["RiseTime"]) <= widest
    assert abs(found.settling.likely / SECOND - peer["SettlingTime"]) <= widest
    assert found.settling.last == pytest.approx(peer["SettlingTime"] * SECOND, abs=2)
    assert found.overshoot == pytest.approx(peer["Overshoot"], abs=1e-9)
    assert found.undershoot == pytest.approx(peer["Undershoot"], abs=1e-9)
    if peer["Overshoot"] > 0:
        assert found.peak.likely == pytest.approx(peer["PeakTime"] * SECOND, abs=2)


@pytest.mark.parametrize("zeta", DAMPING)
def test_from_step_of_scipys_simulation_agrees_with_the_formulas(zeta):
    times = regular(0, 10 / min(zeta, 1 / zeta), 8_001)

    found = from_step(times, simulated(zeta, times), step=0, final=1.0)

    exact = 100 * np.exp(-np.pi * zeta / np.sqrt(1 - zeta**2)) if zeta < 1 else 0.0
    assert found.overshoot == pytest.approx(exact, abs=0.01)
    if zeta < 1:
        peak = np.pi / np.sqrt(1 - zeta**2)
        assert found.peak.first <= peak * SECOND <= found.peak.last


@pytest.mark.parametrize("zeta", DAMPING)
@pytest.mark.parametrize("seed", [None, 5], ids=["regular", "irregular"])
def test_noisy_records_give_nearly_the_same(zeta, seed):
    end = 12 / min(zeta, 1 / zeta)
    times = regular(-10, end, 6_000) if seed is None else irregular(-10, end, 6_000, seed)
    clean = second_order(times / SECOND, zeta, 1)
    chance = np.random.default_rng(11)
    noisy = clean + chance.normal(0, 0.002, times.size)

    truth = ieee_181(times, clean, levels=(0.0, 1.0), band=0.05)
    found = ieee_181(times, noisy, band=0.05, noise=0.01)

    assert pytest.approx((found.initial, found.final), abs=0.012) == (0, 1)
    assert found.transition.likely == pytest.approx(
        truth.transition.likely, rel=0.05
    )  # noise crosses a level early
    assert found.overshoot == pytest.approx(truth.overshoot, abs=2.5)
    assert found.transition.first <= truth.transition.likely <= found.transition.last


@given(
    st.lists(st.floats(-1e6, 1e6), max_size=30),
    st.lists(st.integers(0, 10**9), max_size=30),
    st.floats(0, 10),
)
@settings(max_examples=100, deadline=None)
def test_any_record_gives_ordered_spans_or_a_reason(values, gaps, noise):
    count = min(len(values), len(gaps))
    times = [sum(gaps[:n]) for n in range(count)]

    for found in (
        ieee_181(times, values[:count], noise=noise, step=0),
        from_step(times, values[:count], step=0, noise=noise),
    ):
        if isinstance(found, Unmeasured):
            assert found.why
            continue
        for span in (found.proximal, found.mesial, found.transition, found.settling, found.delay):
            assert span is None or span.first <= span.likely <= span.last
