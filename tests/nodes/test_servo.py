"""The servo against slew arithmetic."""

import itertools
import math

import pytest

from hil.core.instant import Duration, Instant
from hil.nodes.servo import Servo

MS = 1_000_000
SLEW, LAG = 300.0, Duration(20 * MS)


def turned(target: float, start: float = 0.0) -> Servo:
    servo = Servo(SLEW, LAG, start)
    servo.aim(target, Instant(0))
    return servo


def reached(servo: Servo, target: float, band: float) -> float:
    """The first millisecond at which it is within `band` of its target."""
    return next(
        at / 10
        for at in range(20_000)
        if abs(servo.position(Instant(at * MS // 10)) - target) <= band
    )


@pytest.mark.parametrize("target", [45.0, -45.0, 60.0, -12.0])
def test_servo_takes_the_time_of_its_slew_and_its_tail(target: float) -> None:
    # By hand: it slews until 6 deg (300 deg/s · 20 ms) are left; the rest shrinks e-fold in 20 ms.
    by_hand = (abs(target) - 6) / 0.3 + 20 * math.log(6 / 0.5)

    assert reached(turned(target), target, 0.5) == pytest.approx(by_hand, abs=0.15)
    assert turned(target).travel_time(0.5) / MS == pytest.approx(by_hand, abs=0.001)


def test_servo_never_turns_faster_than_its_slew() -> None:
    servo = turned(60.0, start=-60.0)
    places = [servo.position(Instant(at * MS)) for at in range(800)]
    steps = [after - before for before, after in itertools.pairwise(places)]

    assert max(steps) == pytest.approx(0.3)
    assert min(steps) >= 0


def test_servo_never_overshoots() -> None:
    servo = turned(-45.0)

    assert min(servo.position(Instant(at * MS)) for at in range(2_000)) == -45.0


def test_servo_is_at_rest_exactly_on_its_target() -> None:
    servo = turned(45.0)
    end = servo.travel_time(0.0)

    assert servo.moving(Instant(end - 1))
    assert not servo.moving(Instant(end))
    assert servo.position(Instant(end)) == 45.0


def test_servo_turns_back_from_where_it_is() -> None:
    servo = turned(60.0)
    servo.aim(-10.0, Instant(100 * MS))

    assert servo.position(Instant(100 * MS)) == pytest.approx(30.0)
    assert servo.position(Instant(150 * MS)) == pytest.approx(15.0)


def test_servo_that_is_told_where_it_is_stays() -> None:
    servo = turned(0.0)

    assert not servo.moving(Instant(0))
    assert servo.position(Instant(5 * MS)) == 0.0
