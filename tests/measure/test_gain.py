"""How sure a gain is: against scipy's line, and how often the interval holds the truth."""

from decimal import Decimal as D

import numpy as np
import pytest
import scipy.stats

from hil.core.instant import Duration
from hil.core.signal import Kind, Signal
from hil.measure.followed import Commanded, Record, measure_all
from hil.measure.gain import fit_line, persistence
from hil.measure.profile import Chirp, Ramp, Recorded, Sine, Steps

MS, SECOND = 10**6, 10**9
EVERY, COUNT = 50 * MS, 180
LAG, GAIN = 136 * MS, 0.9

PROFILES = {
    "levels": Steps(((0, D(0)), (2 * SECOND, D(40)), (5 * SECOND, D(-20)), (7 * SECOND, D(10)))),
    "points": Recorded(((0, D(0)), (3 * SECOND, D(30)), (5 * SECOND, D(5)), (9 * SECOND, D(60)))),
    "sine": Sine(centre=D(10), amplitude=D(20), frequency=D("0.5")),
    "chirp": Chirp(centre=D(0), amplitude=D(30), first=D("0.2"), last=D(1), duration=9 * SECOND),
}


def commands(profile):
    points = tuple((n * EVERY, round(profile.at(n * EVERY), 1)) for n in range(COUNT))
    return Commanded(
        start=0,
        end=COUNT * EVERY,
        points=points,
        every=Duration(EVERY),
        sine=profile if isinstance(profile, Sine) else None,
    )


def measured(profile, seed, *, held, noise, alike):
    """Return the figures of a response that lags and shrinks, with noise like the one before it."""
    chance, commanded, record = np.random.default_rng(seed), commands(profile), Record()
    moment, error, last, steps = 0, 0.0, None, commanded.staircase
    while moment < commanded.end:
        if not held or moment % (10 * MS) == 0:
            error = alike * error + np.sqrt(1 - alike**2) * chance.normal(0, noise)
        value = D(str(round(GAIN * float(steps.at(np.array([moment - LAG]))[0]) + 2 + error, 1)))
        if not held or value != last:
            record.take(moment, moment, value)
        last = value
        moment += 2 * MS if held else int((50 + chance.uniform(-5, 5)) * MS)
    sampling = None if held else Duration(EVERY)
    signal = Signal(node="a", name="b", kind=Kind.NUMBER, unit="deg", sampling=sampling)
    return measure_all(record, commanded, signal)


@pytest.mark.parametrize("name", PROFILES)
@pytest.mark.parametrize("held", [False, True], ids=["sampled", "each change"])
@pytest.mark.parametrize(("noise", "alike"), [(0.3, 0), (2, 0.9)], ids=["noise", "runs of noise"])
def test_the_intervals_of_gain_and_lag_hold_the_truth_about_as_often_as_they_say(
    name, held, noise, alike
):
    figures = [
        measured(PROFILES[name], seed, held=held, noise=noise, alike=alike) for seed in range(6)
    ]
    gains = [found["gain"] for found in figures]
    lags = [found["lag"] for found in figures]

    # ± 2u is 95 %: of six, two misses or more have a chance of 3 %; the seeds are fixed
    assert sum(not gain.low <= GAIN <= gain.last for gain in gains) <= 1
    assert sum(not lag.low <= LAG <= lag.last for lag in lags) <= 1
    assert all(0 < gain.last - gain.low < 0.4 for gain in gains)


def test_a_gain_is_as_sure_as_the_slope_of_scipys_line():
    # the textbook's own case: the drive known, errors by chance; GUM H.3
    chance = np.random.default_rng(2)
    times = np.arange(4_000) * 10 * MS
    profile = PROFILES["chirp"]
    driven = np.array([float(profile.at(int(at))) for at in times])
    numbers = 0.9 * driven + 2 + chance.normal(0, 1, times.size)

    line = fit_line(times, numbers, drive=profile.at, begin=0, step=10 * MS)
    peer = scipy.stats.linregress(driven, numbers)

    assert line.gain == pytest.approx(peer.slope, rel=1e-9)
    assert line.offset == pytest.approx(peer.intercept, rel=1e-6)
    assert line.gain_uncertainty == pytest.approx(peer.stderr, rel=0.1)


def test_a_ramp_has_a_gain_and_no_lag_of_its_own():
    profile = Ramp(first=D(0), last=D(90), duration=60 * SECOND)
    times = np.arange(1_000, 5_000) * 10 * MS
    numbers = np.array([float(profile.at(int(at))) for at in times])

    assert fit_line(times, numbers, drive=profile.at, begin=0, step=MS).lag_uncertainty is None


@pytest.mark.parametrize(
    ("alike", "growth"),
    # a first-order series has p² = (1 + ρ) / (1 - ρ): the sum of 1 + 2 ρ + 2 ρ² + …
    [(0.0, 1.0), (0.5, 3**0.5), (0.9, 19**0.5)],
)
def test_errors_that_come_in_runs_tell_less(alike, growth):
    chance = np.random.default_rng(3)
    error, series = 0.0, []
    for _ in range(40_000):
        error = alike * error + chance.normal()
        series.append(error)

    assert persistence(np.array(series)) == pytest.approx(growth, rel=0.15)


@pytest.mark.parametrize("residuals", [[0.0, 0.0, 0.0], [1.0], [-1.0, 1.0, -1.0, 1.0]])
def test_persistence_is_never_below_one(residuals):
    assert persistence(np.array(residuals)) == 1.0
