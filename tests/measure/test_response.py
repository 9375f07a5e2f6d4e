"""Step responses as expectations: figures with their intervals, verdicts, sentences.

The shape is the second-order unit step; overshoot 16.3 % for a damping ratio of 0.5 and 4.6 % for
0.7 (Ogata, Modern Control Engineering, from memory; the formula is exp(-πζ/√(1 - ζ²))).
"""

import math
from decimal import Decimal

import pytest
from core.paper import ms
from measure.meters import finding, number, seen

from hil.core.signal import Validity
from hil.core.verdict import Outcome
from hil.measure.bound import Bound
from hil.measure.response import Quantity, ResponseMeasure
from hil.measure.step_response import Variant

PATH = "louvres.vane-1.position"
BEFORE = [seen(PATH, -20, 0)]


def second_order(damping, period_ms=200.0):
    """Return the unit step response of natural period 2π/ωn."""
    omega = 2 * math.pi / period_ms
    damped = omega * math.sqrt(1 - damping**2)

    def height(when):
        if when <= 0:
            return 0.0
        swing = math.cos(damped * when) + damping * omega / damped * math.sin(damped * when)
        return 1 - math.exp(-damping * omega * when) * swing

    return height


def samples(shape, every, until=1000, size=100, since=0):
    return [
        seen(PATH, when, round(size * shape(when), 6), since=when - since)
        for when in range(every, until + 1, every)
    ]


def measure(quantity, limit, variant=Variant.CONTROL, low=None, **more):
    bound = Bound(
        low=None if low is None else Decimal(str(low)),
        high=None if limit is None else Decimal(str(limit)),
        words=f"at most {limit}",
    )
    given = {"target": Decimal(100), "half_width": Decimal(2), "window": ms(1000)} | more
    return ResponseMeasure(quantity=quantity, bound=bound, variant=variant, **given)


def judge(quantity, limit, things, before=BEFORE, variant=Variant.CONTROL, low=None, **signal):
    return finding(measure(quantity, limit, variant, low), [number(PATH, **signal)], things, before)


@pytest.mark.parametrize(
    ("damping", "percent"), [(0.5, 16.3), (0.7, 4.6)], ids=["half", "seven tenths"]
)
@pytest.mark.parametrize("variant", list(Variant))
def test_overshoot_is_the_textbook_one(damping, percent, variant):
    before = [seen(PATH, when, 0) for when in (-300,)]
    things = [seen(PATH, -when, 0) for when in range(250, 0, -1)]
    things += samples(second_order(damping), 1)
    above = judge(Quantity.OVERSHOOT, percent + 0.4, things, before, variant)
    under = judge(Quantity.OVERSHOOT, percent - 0.4, things, before, variant)

    assert above.outcome is Outcome.PASS
    assert under.outcome is Outcome.FAIL and under.margin < 0
    assert above.figures[0].likely == pytest.approx(percent, abs=0.2)
    assert variant.value in above.said


def test_settling_is_an_interval_of_the_sample_spacing_and_the_limit_in_it_is_inconclusive():
    jump = [seen(PATH, when, 0 if when < 200 else 100) for when in range(0, 1000, 50)]

    assert judge(Quantity.SETTLING, ms(200), jump).outcome is Outcome.PASS
    assert judge(Quantity.SETTLING, ms(149), jump).outcome is Outcome.FAIL
    doubt = judge(Quantity.SETTLING, ms(180), jump)
    assert doubt.outcome is Outcome.INCONCLUSIVE
    assert "150 ms to 200 ms" in doubt.said and "the limit lies in between" in doubt.said
    assert doubt.margin is None


def test_a_look_that_takes_time_makes_the_beginning_earlier():
    polled = [
        seen(PATH, when, 0 if when < 200 else 100, since=when - 5) for when in range(50, 1000, 50)
    ]
    found = judge(Quantity.SETTLING, ms(300), polled, sampling=ms(50))

    assert (found.figures[0].low, found.figures[0].high) == (ms(145), ms(200))


def test_a_response_that_never_stays_in_the_band_fails_a_limit_it_has_passed():
    swinging = [seen(PATH, when, 100 + 5 * (-1) ** (when // 20)) for when in range(20, 1001, 20)]
    found = judge(Quantity.SETTLING, ms(300), swinging)

    assert found.outcome is Outcome.FAIL
    assert "more than" in found.got
    assert found.figures[0].high is None


@pytest.mark.parametrize(
    ("quantity", "low", "high"),
    [
        (Quantity.TRANSITION, 70e6, 90e6),  # 80 ms of a ramp of 100 ms
        (Quantity.DELAY, 45e6, 55e6),
        (Quantity.SLEW_RATE, 900, 1100),  # 100 in 100 ms
        (Quantity.UNDERSHOOT, 0, 0.1),
    ],
)
def test_a_ramp_has_the_figures_of_a_ramp(quantity, low, high):
    ramp = samples(lambda when: min(1, when / 100), 2)
    found = judge(quantity, high, ramp, low=low)

    assert found.outcome is Outcome.PASS
    assert low <= found.figures[0].likely <= high


def test_undershoot_is_what_goes_the_wrong_way():
    shape = [seen(PATH, 10, -8), *samples(lambda when: min(1, when / 100), 20)]
    found = judge(Quantity.UNDERSHOOT, 5, shape)

    assert found.outcome is Outcome.FAIL
    assert found.figures[0].likely == pytest.approx(8)


@pytest.mark.parametrize(
    ("things", "before", "outcome", "words"),
    [
        ([], [], Outcome.INCONCLUSIVE, "no value was seen before the stimulus"),
        ([seen(PATH, 20, 30)], BEFORE, Outcome.INCONCLUSIVE, "never came half-way"),
        (
            [seen(PATH, 50, None, validity=Validity.STALE)],
            BEFORE,
            Outcome.INCONCLUSIVE,
            "nothing was reported",
        ),
        (
            [seen(PATH, 50, None, validity=Validity.INVALID)],
            BEFORE,
            Outcome.FAIL,
            "had no reading 50 ms after the stimulus",
        ),
    ],
)
def test_what_cannot_be_measured_says_why(things, before, outcome, words):
    found = judge(Quantity.SETTLING, ms(300), things, before)

    assert found.outcome is outcome
    assert words in found.said


def test_noise_widens_what_is_said():
    things = samples(second_order(0.7), 5)
    sure = judge(Quantity.OVERSHOOT, 5, things)
    unsure = judge(Quantity.OVERSHOOT, 5, things, noise=Decimal(1))

    assert sure.outcome is Outcome.PASS
    assert unsure.outcome is Outcome.INCONCLUSIVE


def test_an_overshoot_between_two_looks_is_not_ruled_out():
    things = samples(second_order(0.5), 25)
    each_change = judge(Quantity.OVERSHOOT, 18, things)
    polled = judge(Quantity.OVERSHOOT, 18, things, sampling=ms(25))
    enough = judge(Quantity.OVERSHOOT, 30, things, sampling=ms(25))
    seen_beyond = judge(Quantity.OVERSHOOT, 12, things, sampling=ms(25))

    assert each_change.outcome is Outcome.PASS  # between two of its reports nothing changed
    assert polled.outcome is Outcome.INCONCLUSIVE and "the limit lies in between" in polled.said
    assert polled.figures[0].low < 16.3 < polled.figures[0].high
    assert (enough.outcome, seen_beyond.outcome) == (Outcome.PASS, Outcome.FAIL)


def test_a_look_that_takes_time_leaves_more_between_two():
    things = [
        seen(PATH, when, round(100 * second_order(0.5)(when), 6), since=when - 5)
        for when in range(25, 1001, 25)
    ]
    quick = judge(Quantity.OVERSHOOT, 18, samples(second_order(0.5), 25), sampling=ms(25))
    slow = judge(Quantity.OVERSHOOT, 18, things, sampling=ms(25))

    assert slow.figures[0].high > quick.figures[0].high


def test_an_undershoot_between_two_looks_is_not_ruled_out():
    heights = [1, 8, 24, *(min(100, 24 + 20 * step) for step in range(1, 48))]
    things = [seen(PATH, 20 * (place + 1), height) for place, height in enumerate(heights)]
    polled = judge(Quantity.UNDERSHOOT, 2, things, sampling=ms(20))

    assert judge(Quantity.UNDERSHOOT, 2, things).outcome is Outcome.PASS
    assert polled.outcome is Outcome.INCONCLUSIVE
