"""`within`, `hold` and `not-before`, on paper."""

from decimal import Decimal

import pytest
from core.paper import at, expect, limits, ms, number, sample
from laws import obey, run

from hil.core.instant import Instant
from hil.core.plan import Invalid, Not, Unchanged
from hil.core.reach import Reach
from hil.core.signal import Signal, Validity
from hil.core.verdict import Outcome

BAND = limits("5.8", "6.2")  # 6.0 ± 0.2


def reach(things, signal: Signal | None = None, condition=BAND, before=None, **timing):
    watch = Reach(expect(condition, **timing), signal or number(), Instant(0), before)
    run(watch, [(s.at, s) for s in things], int(at(10_000)))
    assert watch.finding is not None
    return watch.finding


@pytest.mark.parametrize(
    ("value", "outcome"),
    [("6.2", Outcome.PASS), ("6.21", Outcome.FAIL), ("5.8", Outcome.PASS), ("5.79", Outcome.FAIL)],
)
def test_within_counts_the_edges_of_the_tolerance(value, outcome):
    found = reach([sample(50, value)], within=ms(100))

    assert outcome is found.outcome


def test_within_is_exact_where_binary_floats_are_not():
    # 20.3 - 20.0 > 0.3 in binary64: IEEE 754 arithmetic, shown by Python itself
    assert 20.3 - 20.0 > 0.3
    found = reach([sample(1, "20.3")], condition=limits("19.7", "20.3"), within=ms(100))

    assert found.outcome is Outcome.PASS


@pytest.mark.parametrize(
    ("when", "outcome"), [(100, Outcome.PASS), (100.000001, Outcome.FAIL), (0, Outcome.PASS)]
)
def test_within_includes_the_deadline_to_the_nanosecond(when, outcome):
    found = reach([sample(when, "6.0")], within=ms(100))

    assert outcome is found.outcome


def test_within_does_not_count_what_came_before_the_stimulus():
    watch = Reach(expect(BAND, within=ms(100)), number(), at(10), before=sample(9, "6.0"))
    run(watch, [(at(9.5), sample(9.5, "6.0"))], int(at(1000)))

    assert watch.finding is not None
    assert (watch.finding.outcome, watch.finding.why) == (Outcome.FAIL, "silent")


def test_a_precondition_trusts_the_value_in_force():
    watch = Reach(expect(BAND, within=ms(100)), number(), at(10), sample(9, "6.0"), True)

    assert watch.finding is not None
    assert watch.finding.outcome is Outcome.PASS


OVERSHOOT = [
    sample(100 * i, v)
    for i, v in enumerate(["5.0", "5.7", "6.1", "6.9", "7.4", "6.9", "6.4", "6.1"] + ["6.0"] * 12)
]


def test_within_alone_is_satisfied_by_passing_through():
    found = reach(OVERSHOOT, within=ms(2000))

    assert found.elapsed == ms(200)


def test_hold_waits_for_the_stretch_that_lasts():
    found = reach(OVERSHOOT, within=ms(2000), hold=ms(500))

    assert (Outcome.PASS, ms(700)) == (found.outcome, found.elapsed)
    assert [(ms(200), True), (ms(300), False), (ms(700), True)] == list(found.crossings)


def test_hold_never_settles_on_an_endless_alternation():
    things = [sample(100 * i, "5.9" if i % 2 else "6.3") for i in range(60)]
    found = reach(things, within=ms(2000), hold=ms(500))

    assert found.outcome is Outcome.FAIL


def test_hold_may_end_after_the_deadline_but_not_begin_after_it():
    assert reach([sample(100, "6")], within=ms(100), hold=ms(50)).outcome is Outcome.PASS
    late = reach([sample(100.1, "6")], within=ms(100), hold=ms(50))

    assert late.outcome is Outcome.FAIL


def test_a_bad_value_exactly_at_the_end_of_the_hold_breaks_it():
    broken = reach([sample(10, "6"), sample(60, "9")], within=ms(20), hold=ms(50))
    kept = reach([sample(10, "6"), sample(60.000001, "9")], within=ms(20), hold=ms(50))

    assert (broken.outcome, kept.outcome) == (Outcome.FAIL, Outcome.PASS)


def test_not_before_fails_a_value_that_comes_too_early():
    early = reach([sample(10, "6")], within=ms(100), not_before=ms(20))
    right = reach([sample(20, "6")], within=ms(100), not_before=ms(20))

    assert (early.outcome, early.why) == (Outcome.FAIL, "early")
    assert right.outcome is Outcome.PASS


# --- sampled signals -------------------------------------------------------------------------------

POLLED = number(sampling=ms(50))


def looked(when: float, value: str):
    return sample(when, value, since=when - 1)


def test_a_change_in_a_polling_gap_across_the_deadline_is_inconclusive():
    found = reach([looked(60, "1"), looked(110, "6")], POLLED, within=ms(100))

    assert (found.outcome, found.why) == (Outcome.INCONCLUSIVE, "gap")
    assert (ms(59), ms(110)) == found.change


def test_a_polled_change_surely_after_the_deadline_fails():
    found = reach([looked(60, "1"), looked(110, "1"), looked(160, "6")], POLLED, within=ms(100))

    assert found.outcome is Outcome.FAIL


def test_a_polled_change_surely_before_the_deadline_passes():
    found = reach([looked(40, "1"), looked(90, "6")], POLLED, within=ms(100))

    assert (Outcome.PASS, ms(90)) == (found.outcome, found.elapsed)


def test_a_look_begun_before_the_stimulus_does_not_count():
    found = reach([sample(1, "6", since=-1)], POLLED, within=ms(100))

    assert found.why == "silent"


def test_not_before_inside_a_polling_gap_is_inconclusive():
    found = reach([looked(10, "1"), looked(60, "6")], POLLED, within=ms(100), not_before=ms(30))

    assert found.outcome is Outcome.INCONCLUSIVE


# --- validity ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("condition", [BAND, limits(None, "200"), Not(condition=limits("7", None))])
def test_a_sensor_fault_satisfies_no_limit(condition):
    assert reach([sample(1, None)], condition=condition, within=ms(50)).outcome is Outcome.FAIL


def test_an_expected_sensor_fault_passes():
    assert reach([sample(1, None)], condition=Invalid(), within=ms(50)).outcome is Outcome.PASS


def test_a_hold_broken_by_silence_is_inconclusive():
    found = reach([sample(1, "6"), sample(400, "stale")], within=ms(100), hold=ms(500))

    assert (found.outcome, found.why) == (Outcome.INCONCLUSIVE, "stale")


def test_unchanged_needs_a_value_from_before():
    without = reach([sample(1, "6")], condition=Unchanged(), within=ms(50))
    kept = reach(
        [sample(1, "6.1")],
        condition=Unchanged(tolerance=Decimal("0.1")),
        before=sample(-5, "6"),
        within=ms(50),
    )

    assert (without.outcome, without.why) == (Outcome.INCONCLUSIVE, "no baseline")
    assert kept.outcome is Outcome.PASS


# --- margins and laws ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "when", "timing", "margin"),
    [
        ("6.1", 10, {}, 0.9),  # a value on its way is just inside: only the time counts
        ("6.0", 100, {}, 0.0),
        ("6.3", 50, {}, -0.5),
        ("6.1", 10, {"hold": ms(5)}, 0.5),
        ("6.0", 10, {"hold": ms(5)}, 0.9),
        ("6.2", 10, {"hold": ms(5)}, 0.0),
        ("6.0", 10, {"not_before": ms(40)}, -0.75),
    ],
)
def test_margin_is_the_smaller_of_value_and_time(value, when, timing, margin):
    found = reach([sample(when, value)], within=ms(100), **timing)

    assert found.margin == pytest.approx(margin)


@pytest.mark.parametrize("value", ["5.9", "6.1", "7", "1"])
@pytest.mark.parametrize("when", [5, 50, 150])
@pytest.mark.parametrize("timing", [{}, {"hold": ms(10)}, {"not_before": ms(20)}])
def test_a_failed_check_never_has_a_margin_left(value, when, timing):
    found = reach([sample(when, value), sample(when + 5, "9")], within=ms(100), **timing)

    assert found.outcome is not Outcome.FAIL or found.margin is None or found.margin < 0


def test_a_polled_signal_without_a_look_in_time_is_inconclusive():
    found = reach([looked(60, "1"), looked(110, "1")], POLLED, within=ms(10))

    assert (found.outcome, found.why) == (Outcome.INCONCLUSIVE, "unlooked")


def test_a_node_that_still_warms_up_is_not_blamed():
    warming = sample(10, "1")
    warming.validity = Validity.STALE
    warming.note = "warming up"

    assert reach([warming], within=ms(50)).outcome is Outcome.INCONCLUSIVE
    assert reach([sample(10, "stale")], within=ms(50)).why == "silent"


@pytest.mark.parametrize("signal", [number(), POLLED])
@pytest.mark.parametrize("timing", [{}, {"hold": ms(70)}, {"not_before": ms(30)}])
def test_reach_obeys_the_laws(signal, timing):
    things = [
        (s.at, s)
        for s in (
            sample(20, "1"),
            sample(60, "6"),
            sample(110, "6.1"),
            sample(130, "9"),
            sample(131, None),
            sample(200, "6"),
        )
    ]
    obey(
        lambda: Reach(expect(BAND, within=ms(100), **timing), signal, Instant(0)),
        things,
        int(at(1000)),
        lambda watch: watch.finding,
    )
