"""The same thing elsewhere: skew as an interval, who led, who came last, who never came."""

from decimal import Decimal

import pytest
from core.paper import ms
from laws import run
from measure.meters import START, expecting, finding, label, number, scene, seen

from hil.core.signal import Validity
from hil.core.verdict import Outcome
from hil.measure.showing import Showing

LAMP, DISC, TEXT = "beacon.lamp", "tile.disc", "console.feed-colour"
SIGNALS = [label(path, "green", "red") for path in (LAMP, DISC, TEXT)]
BEFORE = [seen(path, -10, "green") for path in (LAMP, DISC, TEXT)]


def judge(things, before=BEFORE, within=100, signals=SIGNALS, tolerance="0"):
    measure = Showing(
        signals=tuple(signal.path for signal in signals),
        within=ms(within),
        tolerance=Decimal(tolerance),
        window=ms(1000),
    )
    return finding(measure, signals, things, before)


REDDENED = [seen(TEXT, 10, "red"), seen(LAMP, 40, "red"), seen(DISC, 70, "red")]


@pytest.mark.parametrize(
    ("within", "outcome", "margin"),
    [(100, Outcome.PASS, 0.4), (60, Outcome.PASS, 0.0), (59, Outcome.FAIL, -1 / 59)],
)
def test_the_skew_is_from_the_first_change_to_the_last(within, outcome, margin):
    found = judge(REDDENED, within=within)

    assert found.outcome is outcome
    assert found.margin == pytest.approx(margin)
    assert found.figures[0].likely == ms(60)
    last = f", {DISC} last" if outcome is Outcome.PASS else ""
    assert f"agreed 60 ms after {TEXT}{last}, the longest skew" in found.said
    assert "10 ms after the stimulus" in found.said


def test_whichever_changes_first():
    swapped = [seen(DISC, 10, "red"), seen(TEXT, 40, "red"), seen(LAMP, 70, "red")]

    assert f"agreed 60 ms after {DISC}" in judge(swapped).said


def test_one_that_never_follows_is_named():
    found = judge(REDDENED[:2])

    assert found.outcome is Outcome.FAIL
    assert "still differed at the end, for 990 ms" in found.said
    assert f"{DISC} green" in found.said
    assert "for 990 ms (beacon.lamp red, tile.disc green, console.feed-colour red), from 10 ms" in (
        found.said
    )


def test_what_each_shows_at_the_end_is_told():
    later = [seen(LAMP, 40, "green"), seen(LAMP, 80, "red")]
    found = judge([seen(TEXT, 10, "red"), *later])

    assert "(beacon.lamp red, tile.disc green, console.feed-colour red)" in found.said


def test_a_skew_between_two_looks_is_an_interval():
    signals = [SIGNALS[0], label(DISC, "green", "red", sampling=ms(50))]
    things = [
        seen(LAMP, 10, "red"),
        seen(DISC, 50, "green", since=48),
        seen(DISC, 100, "red", since=98),
    ]
    found = judge(things, BEFORE[:2], within=60, signals=signals)

    assert found.outcome is Outcome.INCONCLUSIVE
    assert (found.figures[0].low, found.figures[0].high) == (ms(38), ms(90))
    assert judge(things, BEFORE[:2], within=90, signals=signals).outcome is Outcome.PASS
    assert judge(things, BEFORE[:2], within=30, signals=signals).outcome is Outcome.FAIL


def test_nothing_changed_is_said():
    assert "never changed" in judge([]).said


def test_numbers_may_be_apart_by_their_tolerance():
    paths = ("mast.temperature", "room.temperature")
    signals = [number(path, "degC") for path in paths]
    before = [seen(paths[0], -5, "20.0"), seen(paths[1], -5, "20.3")]

    assert judge([], before, signals=signals, tolerance="0.3").outcome is Outcome.PASS
    assert judge([], before, signals=signals, tolerance="0.2").outcome is Outcome.FAIL


@pytest.mark.parametrize(
    ("things", "before", "words"),
    [
        ([], BEFORE[:2], f"{TEXT} was not seen"),
        ([seen(LAMP, 50, None, validity=Validity.STALE)], BEFORE, f"{LAMP} went stale"),
    ],
)
def test_what_cannot_be_compared_says_why(things, before, words):
    found = judge(things, before)

    assert found.outcome is Outcome.INCONCLUSIVE and words in found.said


def test_a_sensor_fault_agrees_with_nothing():
    found = judge([*REDDENED, seen(LAMP, 200, None, validity=Validity.INVALID)])

    assert found.outcome is Outcome.FAIL
    assert f"{LAMP} no value" in found.said


def blamed(things, before=BEFORE, paths=(LAMP, DISC)):
    measure = Showing(signals=paths, within=ms(100), tolerance=Decimal(0), window=ms(1000))
    (meter,) = measure.begin(scene(SIGNALS, before), expecting(measure, *paths), START)
    meter.stimulated(START)
    run(meter, things, START + ms(2000))
    return meter.signal.path


def test_of_two_the_one_that_did_not_follow_answers():
    assert blamed([seen(LAMP, 10, "red")]) == DISC
    assert blamed([seen(DISC, 10, "red")]) == LAMP


def test_who_was_not_seen_or_went_stale_answers():
    assert blamed([], before=BEFORE[:1]) == DISC
    assert blamed([seen(DISC, 10, None, validity=Validity.STALE)]) == DISC


def test_the_one_that_came_last_answers_only_where_they_did_not_agree():
    assert blamed(REDDENED[1:]) == LAMP
    assert blamed([seen(LAMP, 10, "red"), seen(DISC, 300, "red")]) == DISC
