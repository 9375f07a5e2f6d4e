"""Lag, gain and tracking error of responses with a known truth."""

from decimal import Decimal as D

import numpy as np
import pytest
from measure.responses import SECOND, irregular, regular

from hil.measure.following import follow
from hil.measure.profile import Chirp, Ramp, Recorded, Sine, Steps
from hil.measure.span import Unmeasured

PROFILES = {
    "ramp with ends": Ramp(first=D(0), last=D(90), duration=4 * SECOND),
    "steps": Steps(((0, D(0)), (2 * SECOND, D(40)), (5 * SECOND, D(-20)), (7 * SECOND, D(10)))),
    "sine": Sine(centre=D(10), amplitude=D(45), frequency=D("0.4")),
    "recorded": Recorded(((0, D(0)), (3 * SECOND, D(30)), (5 * SECOND, D(5)), (9 * SECOND, D(60)))),
    "chirp": Chirp(centre=D(0), amplitude=D(30), first=D("0.2"), last=D(2), duration=9 * SECOND),
}


def response(profile, times, lag, gain=1.0, offset=0.0, noise=0.0, seed=0):
    clean = np.array([float(profile.at(int(at) - lag)) for at in times])
    return gain * clean + offset + np.random.default_rng(seed).normal(0, noise, times.size)


@pytest.mark.parametrize("name", PROFILES)
@pytest.mark.parametrize("lag_ms", [0, 37, 333])
@pytest.mark.parametrize("seed", [None, 4], ids=["regular", "irregular"])
def test_lag_and_gain_are_found(name, lag_ms, seed):
    profile, lag = PROFILES[name], lag_ms * 1_000_000
    times = regular(-1, 10, 551) if seed is None else irregular(-1, 10, 551, seed)
    values = response(profile, times, lag, gain=0.9, offset=2.0, noise=0.05)

    found = follow(times, values, drive=profile.at, start=0, longest_lag=SECOND)

    assert found.lag.first <= lag <= found.lag.last
    assert abs(found.lag.likely - lag) < 12_000_000
    assert found.gain == pytest.approx(0.9, abs=0.02)
    assert found.offset == pytest.approx(2.0, abs=0.3)
    assert found.correlation > 0.99


@pytest.mark.parametrize("lag", [3_000_000, 41_234_567, 44_999_999])
def test_a_fraction_of_a_sample_is_found_where_the_response_is_clean(lag):
    profile = PROFILES["chirp"]
    times = regular(-1, 10, 1_101)  # 10 ms apart
    values = response(profile, times, lag)

    found = follow(times, values, drive=profile.at, start=0, longest_lag=SECOND)

    assert abs(found.lag.likely - lag) < 200_000


def test_a_clean_ramp_without_ends_shows_no_lag():
    profile = Ramp(first=D(0), last=D(90), duration=60 * SECOND)
    times = regular(2, 9, 351)

    found = follow(
        times, response(profile, times, 0), drive=profile.at, start=0, longest_lag=SECOND
    )

    assert isinstance(found, Unmeasured)


def test_the_worst_error_is_at_its_sample():
    profile = PROFILES["ramp with ends"]
    times = regular(0, 6, 601)
    values = response(profile, times, 200_000_000)

    found = follow(times, values, drive=profile.at, start=0, longest_lag=SECOND)

    # 22.5 deg/s for 200 ms
    assert found.worst == pytest.approx(4.5, abs=1e-9)
    assert 200_000_000 <= found.worst_at <= 4 * SECOND
    assert found.worst_aligned < 0.02


def test_the_start_of_the_profile_counts():
    profile, start = PROFILES["recorded"], 7_000 * SECOND
    times = regular(0, 10, 501)
    values = response(profile, times, 100_000_000)

    found = follow(times + start, values, drive=profile.at, start=start, longest_lag=SECOND)

    assert abs(found.lag.likely - 100_000_000) < 3_000_000


def test_the_shortest_lag_of_a_periodic_profile_is_taken():
    profile = Sine(centre=D(0), amplitude=D(10), frequency=D(2))
    times = regular(0.5, 10, 951)
    values = response(profile, times, 90_000_000, noise=0.02)

    found = follow(times, values, drive=profile.at, start=0, longest_lag=2 * SECOND)

    assert abs(found.lag.likely - 90_000_000) < 3_000_000


def test_the_lags_span_holds_the_truth_about_as_often_as_it_says():
    profile = PROFILES["chirp"]
    misses, widths = 0, []
    for seed in range(15):
        times = irregular(0, 9, 1_500, seed)
        values = response(profile, times, 137_000_000, noise=60, seed=seed)
        found = follow(times, values, drive=profile.at, start=0, longest_lag=SECOND)
        misses += not found.lag.first <= 137_000_000 <= found.lag.last
        widths.append(found.lag.width)

    assert misses <= 2
    assert max(widths) < 100_000_000


@pytest.mark.parametrize(
    ("profile", "values", "why"),
    [
        (Ramp(first=D(0), last=D(90), duration=60 * SECOND), None, "tells one lag from another"),
        (PROFILES["sine"], 5.0, "did not move"),
        (Steps(((0, D(3)),)), "chance", "profile did not move"),
        (PROFILES["chirp"], "upside down", "does not go with"),
        (PROFILES["recorded"], "late", "longest lag"),
    ],
)
def test_what_shows_no_lag_says_why(profile, values, why):
    times = regular(2, 9, 351)
    lags = {"late": 1_500_000_000}
    numbers = response(profile, times, lags.get(values, 0), noise=0.01)
    if isinstance(values, float):
        numbers = np.full(times.size, values)
    if values == "upside down":
        numbers = -response(profile, times, 10_000_000)

    longest = 30_000_000 if values == "upside down" else 300_000_000
    found = follow(times, numbers, drive=profile.at, start=0, longest_lag=longest)

    assert isinstance(found, Unmeasured)
    assert why in found.why


def test_a_short_record_or_a_lag_of_nothing():
    at = PROFILES["sine"].at
    assert isinstance(follow([0, 1], [1.0, 2.0], drive=at, start=0, longest_lag=5), Unmeasured)
    with pytest.raises(ValueError):
        follow([0, 1], [1.0, 2.0], drive=at, start=0, longest_lag=0)
