"""The time of a step response against a general-purpose library's, on the same uniform grid."""

import time

import control
import numpy as np
import pytest

from hil.measure.step_response import from_step, ieee_181

pytestmark = pytest.mark.wall

SAMPLES = 100_000
ROUNDS = 20


def best_of(work):
    times = []
    for _ in range(ROUNDS):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return min(times)


@pytest.mark.parametrize("measure", [ieee_181, from_step], ids=["IEEE 181", "control"])
def test_a_step_response_takes_at_most_three_times_as_long_as_the_peer(measure):
    seconds = np.linspace(-5, 15, SAMPLES)
    late = np.maximum(seconds, 0)
    swing = np.cos(late * 0.75**0.5) + 0.5 / 0.75**0.5 * np.sin(late * 0.75**0.5)
    values = 1 - np.exp(-0.5 * late) * swing
    instants = (seconds * 1e9).round().astype(np.int64)

    peer = best_of(lambda: control.step_info(values, T=seconds, yfinal=1.0))
    ours = best_of(lambda: measure(instants, values, step=0))

    ratio = ours / peer
    print(f"{measure.__name__}: {ours * 1e3:.2f} ms, peer {peer * 1e3:.2f} ms, ratio {ratio:.2f}")
    assert ratio <= 3
