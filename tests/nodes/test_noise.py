"""Noise of a node: a stream of its own, a bell, durations."""

import statistics

from hil.core.instant import Duration
from hil.nodes.noise import BOUND, Noise


def test_noise_differs_by_name_and_seed() -> None:
    first = [Noise(20, "mast").word(), Noise(20, "feedline").word(), Noise(21, "mast").word()]

    assert len(set(first)) == 3


def test_bell_has_mean_zero_and_deviation_one_and_stays_bounded() -> None:
    noise = Noise(7)
    drawn = [noise.bell() for _ in range(20_000)]

    # Irwin-Hall of four: variance 4/12; the mean of n draws lies within 4/sqrt(n) of 0.
    assert abs(statistics.fmean(drawn)) < 4 / 20_000**0.5
    assert abs(statistics.pstdev(drawn) - 1) < 0.03
    assert max(map(abs, drawn)) <= BOUND


def test_bell_reaches_both_tails() -> None:
    noise = Noise(7)
    drawn = [noise.bell() for _ in range(20_000)]

    # A normal distribution has 4.6 % beyond two deviations; a sum of four comes near to it.
    share = sum(abs(value) > 2 for value in drawn) / len(drawn)
    assert 0.03 < share < 0.06


def test_between_stays_in_its_ends_and_reaches_both() -> None:
    noise = Noise(3)
    drawn = {noise.between(Duration(2), Duration(4)) for _ in range(200)}

    assert {2, 3, 4} == drawn
    assert noise.between(Duration(5), Duration(5)) == 5
