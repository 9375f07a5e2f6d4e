"""Nothing else moved: the one that strayed is named, and the one that should have moved."""

from decimal import Decimal

import pytest
from core.paper import ms
from laws import run
from measure.meters import START, expecting, finding, label, number, scene, seen

from hil.core.signal import Validity
from hil.core.verdict import Outcome
from hil.measure.stillness import Stillness

MOVED, NEAR, LAMP, SLOW = (
    "louvres.vane-1.position",
    "louvres.vane-2.position",
    "beacon.lamp",
    "fan.speed",
)
SIGNALS = [
    number(MOVED, noise=Decimal("0.1")),
    number(NEAR, noise=Decimal("0.1")),
    label(LAMP, "off", "red"),
    number(SLOW, "rpm", noise=Decimal(5), sampling=ms(50)),
]
BEFORE = [seen(MOVED, -10, 0), seen(NEAR, -10, 0), seen(LAMP, -10, "off"), seen(SLOW, -10, 1200)]
LOOK = seen(SLOW, 60, 1204, since=55)


def judge(things, before=BEFORE, opens=0, moved=(MOVED,)):
    measure = Stillness(moved=moved, watched=(NEAR, LAMP, SLOW), opens=ms(opens), closes=ms(600))
    things = sorted([LOOK, *things], key=lambda entry: entry[0])
    return finding(measure, SIGNALS, things, before, paths=(NEAR, LAMP, SLOW))


def test_what_should_move_may_and_noise_is_no_movement():
    found = judge([seen(MOVED, 100, 45), seen(NEAR, 100, "0.2")])

    assert found.outcome is Outcome.PASS
    assert found.margin == 0  # twice the noise is just allowed
    assert "3 others stayed as they were for 600 ms" in found.said


def test_a_crossed_cable_names_both():
    found = judge([seen(NEAR, 100, "0.3"), seen(LAMP, 150, "red")])

    assert found.outcome is Outcome.FAIL
    assert found.decided.signal == NEAR
    assert "moved from 0 deg to 0.3 deg, beyond the 0.2 deg it may wander by, 100 ms" in found.said
    assert f"only {MOVED} should have moved, and {MOVED} did not" in found.said
    assert f"so did {LAMP}" in found.said
    assert found.margin == pytest.approx(-0.5)


@pytest.mark.parametrize(
    ("thing", "outcome"),
    [
        (seen(LAMP, 600, "red"), Outcome.FAIL),
        (seen(LAMP, 601, "red"), Outcome.PASS),
        (seen(LAMP, 10, None, validity=Validity.INVALID), Outcome.FAIL),
        (seen(SLOW, 3, 1300, since=-2), Outcome.PASS),  # the look began before the stimulus
        (seen(NEAR, 300, None, validity=Validity.STALE), Outcome.INCONCLUSIVE),
    ],
)
def test_what_counts(thing, outcome):
    assert judge([thing]).outcome is outcome


def test_a_window_that_opens_later_begins_with_the_value_in_force():
    look = seen(SLOW, 200, 1200, since=195)
    back = [seen(LAMP, 20, "red"), seen(LAMP, 80, "off"), look]
    stays = [seen(LAMP, 20, "red"), look]

    assert judge(back, opens=100).outcome is Outcome.PASS
    assert judge(stays, opens=100).outcome is Outcome.FAIL


def test_a_signal_that_was_not_seen_leaves_a_doubt():
    unseen = judge([], before=BEFORE[:2] + BEFORE[3:])
    measure = Stillness(moved=(), watched=(SLOW,), opens=ms(0), closes=ms(600))
    unlooked = finding(measure, SIGNALS, [], BEFORE, paths=(SLOW,))

    assert unseen.outcome is Outcome.INCONCLUSIVE and f"{LAMP} was not seen" in unseen.said
    assert unlooked.outcome is Outcome.INCONCLUSIVE and "was not looked at" in unlooked.said


def test_who_leaves_the_doubt_answers_for_it():
    measure = Stillness(moved=(MOVED,), watched=(NEAR, LAMP), opens=ms(0), closes=ms(600))
    (meter,) = measure.begin(scene(SIGNALS, BEFORE), expecting(measure, NEAR, LAMP), START)
    meter.stimulated(START)
    run(meter, [seen(NEAR, 300, None, validity=Validity.STALE)], START + ms(700))

    assert meter.signal.path == NEAR
    assert f"leaves it open whether 2 others stayed as they were for 600 ms: {NEAR} went stale" in (
        meter.finding.said
    )
