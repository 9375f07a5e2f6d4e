"""Relations in time: judged on the values in force, asked about like a single signal."""

from dataclasses import replace
from decimal import Decimal

import pytest
from core.paper import ms
from laws import obey, run
from measure.meters import START, expecting, number, scene, seen
from measure.paper_units import UNITS

from hil.core.plan import Timing
from hil.core.signal import Validity
from hil.core.verdict import Outcome
from hil.measure.holding import Holding
from hil.measure.relation import bind
from hil.measure.syntax import read_relation

SENSOR, SHOWN = "feedline.pressure", "console.feed-reading"
SIGNALS = {path: number(path, "bar") for path in (SENSOR, SHOWN)}
BEFORE = [seen(SENSOR, -50, "2.40"), seen(SHOWN, -40, "2.4")]
ROUNDED = f"{SHOWN} = round({SENSOR}, 1)"


def judge(things, *more, **timing):
    return judged(things, *more, **timing).finding


def judged(things, text=ROUNDED, before=BEFORE, signals=SIGNALS, until=2000, **timing):
    relation = bind(
        read_relation(text),
        lambda path: signals[path].unit if path in signals else None,
        UNITS,
        lambda path: (signals[path].low, signals[path].high),
    )
    measure = Holding(relation=relation, owner=SHOWN)
    expectation = replace(expecting(measure, *signals), timing=Timing(**timing))

    def make():
        (meter,) = measure.begin(scene(signals.values(), before), expectation, START)
        meter.stimulated(START)
        return meter

    obey(make, things, START + ms(until), lambda meter: meter.finding)
    meter = make()
    run(meter, things, START + ms(until))
    assert meter.finding is not None
    return meter


FOLLOWED = [seen(SENSOR, 5, "4.83"), seen(SHOWN, 20, "4.8")]


def test_it_holds_once_the_other_side_has_followed():
    found = judge(FOLLOWED, within=ms(100), hold=ms(50))

    assert found.outcome is Outcome.PASS
    assert found.elapsed == ms(20)
    assert found.margin == pytest.approx(0.8)
    assert "held: 4.8 bar against 4.8 bar (0 bar apart)" in found.said


@pytest.mark.parametrize(
    ("within", "outcome"), [(20, Outcome.PASS), (19, Outcome.FAIL), (4, Outcome.FAIL)]
)
def test_values_from_before_the_stimulus_prove_nothing(within, outcome):
    # it held before, and at 2 ms the console repeats itself: the pressure has not been seen yet
    things = [seen(SHOWN, 2, "2.4"), *FOLLOWED]

    assert judge(things, within=ms(within)).outcome is outcome


def test_a_wrong_display_fails_with_both_sides_and_their_difference():
    found = judge([seen(SENSOR, 5, "4.86"), seen(SHOWN, 20, "4.8")], within=ms(100))

    assert found.outcome is Outcome.FAIL
    assert "4.8 bar against 4.9 bar (0.1 bar apart)" in found.said
    assert found.figures[0].likely == pytest.approx(-0.1)


def test_throughout_it_begins_with_the_values_in_force():
    stays = judge([], during=(ms(0), ms(500)))
    leaves = judge([seen(SENSOR, 300, "2.46")], during=(ms(0), ms(500)))
    forbidden = judge([], never=ms(500))

    assert stays.outcome is Outcome.PASS
    assert leaves.outcome is Outcome.FAIL and leaves.elapsed == ms(300)
    assert forbidden.outcome is Outcome.FAIL


def test_the_margin_is_the_worst_while_it_had_to_hold():
    text = f"{SHOWN} = {SENSOR} ± 0.1 bar"
    things = [seen(SENSOR, 100, "2.42"), seen(SENSOR, 200, "2.48"), seen(SENSOR, 300, "2.40")]
    found = judge(things, text, during=(ms(0), ms(500)))

    assert found.outcome is Outcome.PASS
    assert found.margin == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("thing", "outcome", "words"),
    [
        (seen(SENSOR, 100, None, validity=Validity.INVALID), Outcome.FAIL, "did not hold"),
        (seen(SENSOR, 100, None, validity=Validity.STALE), Outcome.INCONCLUSIVE, "stale"),
    ],
)
def test_a_fault_is_a_fault_of_the_whole(thing, outcome, words):
    found = judge([thing], during=(ms(0), ms(500)))

    assert found.outcome is outcome
    assert words in found.said


@pytest.mark.parametrize("validity", [Validity.INVALID, Validity.STALE])
def test_the_node_with_the_fault_answers_for_it(validity):
    things = [seen(SENSOR, 100, None, validity=validity)]

    assert judged(things, during=(ms(0), ms(500))).signal.path == SENSOR
    assert judged(FOLLOWED, within=ms(100)).signal.path == SHOWN
    assert judged([*FOLLOWED[:1]], within=ms(100)).signal.path == SHOWN


def test_a_fault_that_is_over_is_nobodys():
    things = [seen(SENSOR, 5, None, validity=Validity.INVALID), seen(SENSOR, 10, 5), *FOLLOWED[1:]]

    assert judged(things, within=ms(15)).signal.path == SHOWN


def test_a_division_by_zero_is_no_answer_and_no_crash():
    found = judge([seen(SENSOR, 5, 0), seen(SHOWN, 6, 1)], f"{SHOWN} / {SENSOR} = 1", within=ms(50))

    assert found.outcome is Outcome.FAIL
    assert "a division by zero" in found.said


def test_a_sampled_side_leaves_a_doubt_where_the_limit_lies_between_two_looks():
    signals = {SENSOR: SIGNALS[SENSOR], SHOWN: number(SHOWN, "bar", sampling=ms(50))}
    things = [
        seen(SENSOR, 5, "4.80"),
        seen(SHOWN, 50, "2.4", since=48),
        seen(SHOWN, 100, "4.8", since=98),
    ]

    assert judge(things, signals=signals, within=ms(75)).outcome is Outcome.INCONCLUSIVE
    assert judge(things, signals=signals, within=ms(100)).outcome is Outcome.PASS


def test_two_thermometers_agree_across_their_units():
    room, cold = "room.warmth", "cold.absolute"
    signals = {
        SHOWN: number(SHOWN, "°C"),
        room: number(room, "°F", sampling=ms(100)),
        cold: number(cold, "K"),
    }
    text = f"{SHOWN} = {room} ± 0.5 K"
    things = [seen(SHOWN, 10, 20), seen(room, 100, 68, since=95)]
    signals.pop(cold)

    assert judge(things, text, [], signals, within=ms(200)).outcome is Outcome.PASS


def test_decimals_are_exact():
    # 0.1 + 0.2 = 0.3 holds here, and fails in binary fractions
    found = judge(
        [seen(SENSOR, 5, "0.3"), seen(SHOWN, 6, "0.1")],
        f"{SENSOR} = {SHOWN} + 0.2 bar",
        within=ms(50),
    )

    assert found.outcome is Outcome.PASS
    assert found.figures[0].likely == Decimal(0)
