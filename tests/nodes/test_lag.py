"""First-order lag against the published constants of a first-order step response."""

import pytest

from hil.core.instant import Duration, Instant
from hil.nodes.lag import Lag

TAU = 100_000_000


def stepped() -> Lag:
    lag = Lag(Duration(TAU), 0.0)
    lag.aim(1.0, Instant(0))
    return lag


def test_lag_reaches_63_percent_after_one_time_constant() -> None:
    # Textbook constant 1 - 1/e.
    assert stepped().value(Instant(TAU)) == pytest.approx(0.632121, abs=1e-6)


@pytest.mark.parametrize(
    ("low", "high", "taus"),
    [
        (0.10, 0.90, 2.1972),  # ln 9: the 10-90 % rise (computed)
        (0.00, 0.98, 3.9120),  # ln 50: settled to 2 % (computed)
        (0.00, 0.95, 2.9957),  # ln 20: settled to 5 % (computed)
    ],
)
def test_lag_rises_and_settles_as_a_first_order_system(
    low: float, high: float, taus: float
) -> None:
    lag = stepped()
    times = [at for at in range(0, 6 * TAU, TAU // 5000) if low <= lag.value(Instant(at)) <= high]

    assert (times[-1] - times[0]) / TAU == pytest.approx(taus, abs=0.001)


def test_lag_leaves_from_where_it_is() -> None:
    lag = stepped()
    there = lag.value(Instant(TAU))
    lag.aim(0.0, Instant(TAU))

    assert lag.value(Instant(TAU)) == pytest.approx(there)
    assert lag.value(Instant(2 * TAU)) == pytest.approx(there * (1 - 0.632121), abs=1e-6)


def test_lag_comes_to_rest_exactly_on_its_target() -> None:
    lag = stepped()

    assert lag.moving(Instant(19 * TAU))
    assert not lag.moving(Instant(20 * TAU))
    assert lag.value(Instant(20 * TAU)) == 1.0


def test_lag_of_nothing_follows_at_once() -> None:
    lag = Lag(Duration(0), 1.0)
    lag.aim(5.0, Instant(10))

    assert lag.value(Instant(10)) == 5.0
    assert not lag.moving(Instant(10))
