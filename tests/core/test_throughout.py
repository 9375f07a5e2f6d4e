"""`during` and `never`, on paper."""

import pytest
from core.paper import at, expect, limits, ms, number, sample
from laws import obey, run

from hil.core.instant import Instant
from hil.core.plan import Unchanged
from hil.core.signal import Signal
from hil.core.throughout import Throughout
from hil.core.verdict import Outcome

BAND = limits("1", "2")
POLLED = number(sampling=ms(50))


def throughout(things, signal: Signal | None = None, condition=BAND, before=None, **timing):
    watch = Throughout(expect(condition, **timing), signal or number(), Instant(0), before)
    run(watch, [(s.at, s) for s in things], int(at(10_000)))
    assert watch.finding is not None
    return watch.finding


def test_during_passes_when_every_value_in_the_window_is_good():
    found = throughout([sample(10, "1"), sample(60, "2")], during=(ms(0), ms(100)))

    assert found.outcome is Outcome.PASS
    assert ms(50) == found.gap


@pytest.mark.parametrize(
    ("when", "outcome"),
    [(99, Outcome.FAIL), (100, Outcome.FAIL), (100.000001, Outcome.PASS)],
)
def test_during_includes_the_end_of_its_window(when, outcome):
    found = throughout([sample(10, "1"), sample(when, "9")], during=(ms(0), ms(100)))

    assert outcome is found.outcome


def test_during_counts_the_value_in_force_when_the_window_opens():
    bad = throughout([sample(5, "9"), sample(20, "1")], during=(ms(10), ms(100)))
    replaced = throughout([sample(5, "9"), sample(10, "1")], during=(ms(10), ms(100)))

    assert (bad.outcome, replaced.outcome) == (Outcome.FAIL, Outcome.PASS)


def test_during_from_zero_counts_the_value_from_before_the_stimulus():
    bad = throughout([sample(5, "1")], before=sample(-10, "9"), during=(ms(0), ms(100)))
    good = throughout([], before=sample(-10, "1"), during=(ms(0), ms(100)))

    assert (bad.outcome, good.outcome) == (Outcome.FAIL, Outcome.PASS)


def test_during_without_any_look_is_inconclusive():
    found = throughout([], during=(ms(0), ms(100)))

    assert (found.outcome, found.why) == (Outcome.INCONCLUSIVE, "unseen")


def test_during_on_a_value_that_went_stale_is_inconclusive():
    found = throughout([sample(1, "1"), sample(50, "stale")], during=(ms(0), ms(100)))

    assert (found.outcome, found.why) == (Outcome.INCONCLUSIVE, "stale")


def test_during_fails_on_a_sensor_fault():
    assert throughout([sample(1, None)], during=(ms(0), ms(9))).outcome is Outcome.FAIL


def test_never_fails_on_the_one_value_and_passes_without_it():
    seen = throughout([sample(1, "0"), sample(50, "1.5")], never=ms(100))
    unseen = throughout([sample(1, "0"), sample(101, "1.5")], never=ms(100))

    assert (seen.outcome, seen.why) == (Outcome.FAIL, "seen")
    assert unseen.outcome is Outcome.PASS


def test_never_has_no_margin_and_during_has_the_smallest_of_its_values():
    kept_off = throughout([sample(1, "0"), sample(50, "7")], never=ms(100))
    kept_in = throughout([sample(1, "1.5"), sample(50, "1.9")], during=(ms(0), ms(100)))

    assert kept_off.margin is None
    assert kept_in.margin == pytest.approx(0.2)


def test_a_value_that_must_never_be_seen_has_a_negative_margin():
    assert throughout([sample(1, "1.5")], never=ms(100)).margin == pytest.approx(-1)
    assert throughout([sample(1, "1.1")], never=ms(100)).margin == pytest.approx(-0.2)


def test_never_fails_on_a_sensor_fault_too():
    assert throughout([sample(1, None)], never=ms(9)).outcome is Outcome.FAIL


def test_a_pulse_between_two_looks_leaves_its_blind_gap_in_the_finding():
    looks = [sample(10 * i, "0", since=10 * i) for i in range(1, 20)]
    found = throughout(looks, number(sampling=ms(10)), never=ms(100))

    assert (Outcome.PASS, ms(10)) == (found.outcome, found.gap)


def test_an_unchanged_value_is_compared_with_the_one_before():
    moved = throughout(
        [sample(5, "7.1")], condition=Unchanged(), before=sample(-1, "7"), during=(ms(0), ms(50))
    )

    assert moved.outcome is Outcome.FAIL


@pytest.mark.parametrize(
    ("looks", "outcome"),
    [
        ([(20, "9"), (70, "1")], Outcome.INCONCLUSIVE),  # changed somewhere across the opening
        ([(20, "9"), (29, "1"), (70, "1")], Outcome.PASS),
        ([(20, "9"), (70, "9")], Outcome.FAIL),
        ([(30.5, "9"), (70, "1")], Outcome.INCONCLUSIVE),  # a bad look across the opening itself
        ([(20, "1")], Outcome.INCONCLUSIVE),  # no look inside the window
        ([(70, "1"), (100.5, "9")], Outcome.INCONCLUSIVE),  # a bad look across the closing
        ([(70, "1"), (100.5, "1")], Outcome.PASS),
        ([(70, "1"), (102, "9")], Outcome.PASS),  # begun after the window
    ],
)
def test_a_sampled_signal_leaves_doubt_where_its_looks_do(looks, outcome):
    things = [sample(when, value, since=when - 1) for when, value in looks]
    found = throughout(things, POLLED, during=(ms(30), ms(100)))

    assert outcome is found.outcome


@pytest.mark.parametrize("signal", [number(), POLLED])
@pytest.mark.parametrize("timing", [{"during": (ms(30), ms(100))}, {"never": ms(100)}])
def test_throughout_obeys_the_laws(signal, timing):
    things = [
        (s.at, s)
        for s in (
            sample(20, "9"),
            sample(31, "1"),
            sample(90, "1.5"),
            sample(100, None),
            sample(131, "0"),
        )
    ]
    obey(
        lambda: Throughout(expect(BAND, **timing), signal, Instant(0), sample(-1, "9")),
        things,
        int(at(1000)),
        lambda watch: watch.finding,
    )
