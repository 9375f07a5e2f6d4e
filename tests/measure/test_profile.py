"""Driven profiles are exact at every nanosecond."""

import math
from decimal import Decimal as D

import pytest
import scipy.signal
from hypothesis import given
from hypothesis import strategies as st

from hil.measure.profile import Chirp, Ramp, Recorded, Sine, Steps

SECOND = 1_000_000_000
RAMP = Ramp(first=D("2.4"), last=D("4.8"), duration=3 * SECOND)
STEPS = Steps(((0, D(1)), (SECOND, D(3)), (2 * SECOND, D(2))))
RECORDED = Recorded(((0, D(0)), (3, D(1)), (10, D("4.5"))))
SINE = Sine(centre=D(5), amplitude=D(2), frequency=D("0.25"), phase=D(30))
CHIRP = Chirp(centre=D(0), amplitude=D(10), first=D("0.5"), last=D("2.5"), duration=4 * SECOND)


@pytest.mark.parametrize(
    ("profile", "time", "value"),
    [
        (RAMP, -1, "2.4"),
        (RAMP, 0, "2.4"),
        (RAMP, 1, "2.4000000008"),
        (RAMP, SECOND, "3.2"),
        (RAMP, 3 * SECOND, "4.8"),
        (RAMP, 9 * SECOND, "4.8"),
        (STEPS, -5, "1"),
        (STEPS, SECOND - 1, "1"),
        (STEPS, SECOND, "3"),
        (STEPS, 9 * SECOND, "2"),
        (RECORDED, 5, "2"),
        (RECORDED, 10, "4.5"),
        (RECORDED, 11, "4.5"),
        (RECORDED, -1, "0"),
        (SINE, 0, "6"),
        (SINE, SECOND * 2, "4"),
        (SINE, 4 * 10**9 * SECOND, "6"),
        (CHIRP, 0, "0"),
        (CHIRP, SECOND, "-10"),  # 0.5 + 0.25 turns
        (CHIRP, 4 * SECOND, "0"),  # 6 turns
        (CHIRP, 5 * SECOND, "0"),
    ],
)
def test_a_profile_at_a_time(profile, time, value):
    assert profile.at(time) == D(value)


def test_a_third_is_kept_to_fifty_digits():
    assert RECORDED.at(1) == D("0." + "3" * 50)


@given(st.integers(0, 4 * SECOND))
def test_a_chirp_agrees_with_scipy(time):
    seconds = time / SECOND
    peer = 10 * scipy.signal.chirp(seconds, f0=0.5, t1=4, f1=2.5, method="linear", phi=-90)

    assert float(CHIRP.at(time)) == pytest.approx(peer, abs=1e-10)


@given(st.integers(0, 10**6 * SECOND))
def test_a_sine_is_a_sine(time):
    turns = time % (4 * SECOND) / (4 * SECOND)

    expected = 5 + 2 * math.sin(2 * math.pi * turns + math.pi / 6)
    assert float(SINE.at(time)) == pytest.approx(expected, abs=1e-13)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Ramp(first=D(0), last=D(1), duration=0),
        lambda: Steps(()),
        lambda: Steps(((5, D(1)), (5, D(2)))),
        lambda: Recorded(((5, D(1)), (4, D(2)))),
        lambda: Sine(centre=D(0), amplitude=D(1), frequency=D(0)),
        lambda: Chirp(centre=D(0), amplitude=D(1), first=D(-1), last=D(1), duration=SECOND),
        lambda: Chirp(centre=D(0), amplitude=D(1), first=D(0), last=D(0), duration=SECOND),
    ],
)
def test_profiles_that_make_no_sense_are_refused(make):
    with pytest.raises(ValueError):
        make()
