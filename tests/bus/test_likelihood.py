"""How likely things are out of 2⁶⁴, and what noise makes of it."""

from decimal import Decimal

import pytest

from hil.bus.likelihood import CERTAIN, any_of, likelihood
from hil.bus.spoiler import Noise, Spoiler
from hil.bus.tally import Waits
from hil.core.chance import Chance


@pytest.mark.parametrize("times", [0, 1, 2, 12_216])
def test_any_of_many(times):
    likely = likelihood(Decimal("1e-6"))

    assert any_of(likely, times) / CERTAIN == pytest.approx(1 - (1 - 1e-6) ** times, rel=1e-9)


def test_certain_and_impossible():
    assert any_of(CERTAIN, 3) == CERTAIN
    assert Chance(1).happens(CERTAIN)
    assert not Chance(1).happens(0)


@pytest.mark.parametrize("wrong", ["-0.1", "1.1", "NaN", "Infinity"])
def test_a_probability_lies_from_0_to_1(wrong):
    with pytest.raises(ValueError, match="0 to 1"):
        Spoiler(Noise(loss=Decimal(wrong)), 1)


def test_waits_keep_quantiles_within_a_32nd():
    waits = Waits()
    for delay in range(1, 100_001):
        waits.add(delay)

    assert (waits.count, waits.longest, waits.total) == (100_000, 100_000, 5_000_050_000)
    for permille in (1, 500, 990, 999):
        exact = permille * 100
        assert exact <= waits.quantile(permille) <= exact * (1 + 1 / 32)
    assert waits.quantile(1000) == 100_000
    assert Waits().quantile(500) == 0


def test_waits_hold_any_delay():
    waits = Waits()
    for delay in (0, 63, 64, 2**62, 2**63 - 1):
        waits.add(delay)

    assert waits.quantile(200) == 0
    assert waits.quantile(1000) == 2**63 - 1
