"""The reference logic: published series, cases from practice, and the fine print of delays and ages."""

import pytest
from alarms.drawing import (
    INPUT,
    MARK,
    band,
    clears_at,
    delay,
    feed,
    high_alarm,
    no_reading,
    reading,
    seconds,
    spec,
    start_up,
    width,
)
from laws import run

from hil.alarms.chatter import chattering_at, most_per_window
from hil.alarms.indicator import Displayed, Rounding
from hil.alarms.logic import Logic, Restart
from hil.alarms.spec import AfterFault, Counting, Latch
from hil.core.instant import Instant

BUTTON = "pendant.acknowledge"


def looks(described, things, at):
    """Return what is shown at each of the given seconds; `things` are (second, value or thing)."""
    given = [
        (seconds(when), reading(thing, seconds(when)) if not hasattr(thing, "signal") else thing)
        for when, thing in things
    ]
    turns = run(Logic(described, Instant(0)), given, seconds(max(at)))
    return [[turn.state.look for turn in turns if turn.at <= seconds(when)][-1] for when in at]


def active(described, series, step=1):
    """Return whether the only alarm is shown after each value of a series."""
    times = [place * step for place in range(len(series))]
    shown = looks(described, list(zip(times, series, strict=True)), times)
    return [look != described.normal for look in shown]


# Instrument manual, temperature dead band example in degrees Fahrenheit (uwbt series, page 97):
# dead band 10, high limit 250: on at 250 and above, off at 240 and below
def test_the_published_high_limit_with_dead_band():
    described = high_alarm("250", dead_band=width("10"))

    assert active(described, ["249", "250", "245", "241", "240", "245"]) == [
        False,
        True,
        True,
        True,
        False,
        False,
    ]


# the same manual, low limit 50: on at 50 and below, off at 60 and above
def test_the_published_low_limit_with_dead_band():
    described = spec(
        band("red", None, "50", owns="high", dead_band=width("10")),
        band("green", "50", None, owns="none"),
        high="1000",
    )

    assert active(described, ["51", "50", "55", "59", "60", "55"]) == [
        False,
        True,
        True,
        True,
        False,
        False,
    ]


# OPC UA Part 9 (Alarms and Conditions), 5.8.22.1: set point 10, high above 12, low below 9;
# with the set point at 11 low below 10, high above 13
@pytest.mark.parametrize(
    ("set_point", "value", "state"),
    [
        (10, "12.5", "high"),
        (10, "12.0", "green"),
        (10, "9.0", "green"),
        (10, "8.5", "low"),
        (11, "9.9", "low"),
        (11, "10", "green"),
        (11, "13", "green"),
        (11, "13.1", "high"),
    ],
)
def test_the_published_deviation_limits(set_point, value, state):
    described = spec(
        band("low", None, set_point - 1, owns="none"),
        band("green", set_point - 1, set_point + 2, owns="both"),
        band("high", set_point + 2, None, owns="none"),
        high="100",
    )

    assert [state] == looks(described, [(0, value)], [0])


# computed: 1 s samples, high 80, dead band 4, on 3 s, off 2 s, strict comparisons; that the time
# must be unbroken and the dead band acts on return only: OPC UA Part 9 B.1.5, BACnet Time_Delay
def test_delays_count_from_the_first_sample_and_a_dip_starts_them_afresh():
    described = high_alarm(
        "80",
        owns_trip=False,
        dead_band=width("4", level_clears=False),
        on_delay=delay(3),
        off_delay=delay(2),
    )
    series = ["79", "81", "81", "79", "82", "82", "82", "82", "77", "75", "77", "75", "75", "75"]

    assert active(described, series) == [False] * 7 + [True] * 6 + [False]


# computed from the definition "3 or more times within 1 minute" (articles restating ISA-18.2)
def test_chattering_is_detected_at_the_third_activation_within_a_minute():
    activations = [Instant(seconds(at)) for at in (0, 15, 40, 75, 95, 130)]

    assert Instant(seconds(40)) == chattering_at(activations)
    assert most_per_window(activations) == 3


@pytest.mark.parametrize(("last", "found"), [(60, True), (60.000000001, False)])
def test_a_minute_includes_its_end(last, found):
    activations = [Instant(seconds(at)) for at in (0, 30, last)]

    assert found is (chattering_at(activations) is not None)
    assert found is (most_per_window(activations) == 3)


# red from 8.00 bar; one count is 0.01
@pytest.mark.parametrize(
    ("owns_trip", "wanted"), [(True, [False, True, True]), (False, [False, False, True])]
)
def test_the_owner_of_an_edge_has_the_value_exactly_on_it(owns_trip, wanted):
    described = high_alarm("8.00", owns_trip=owns_trip)

    assert wanted == [active(described, [value])[0] for value in ("7.99", "8.00", "8.01")]


# limit 70, clear below 65: one raise at the second value, one clear at the last
def test_noise_inside_the_dead_band_makes_no_second_transition():
    described = high_alarm("70", dead_band=clears_at("65", level_clears=False))
    series = ["69.9", "70.1", "69.9", "70.1", "66", "70.1", "65", "64.9"]

    assert active(described, series) == [False] + [True] * 6 + [False]


# a width of 5 K at a limit of 70 clears at 65
def test_a_width_and_a_level_mean_the_same_reset_point():
    series = ["71", "66", "65.01", "65", "71"]

    assert (
        [True, True, True, False, True]
        == active(high_alarm("70", dead_band=width("5")), series)
        == active(high_alarm("70", dead_band=clears_at("65")), series)
    )


# red from 80.0, one decimal shown
@pytest.mark.parametrize(
    ("displayed_decides", "wanted"), [(False, [False] * 3), (True, [False, True, True])]
)
def test_the_value_as_displayed_decides_only_where_the_spec_says_so(displayed_decides, wanted):
    described = spec(
        band("green", None, "80", owns="none"),
        band("red", "80", None),
        high="200",
        displayed_decides=displayed_decides,
        display=Displayed(decimals=1, rounding=Rounding.HALF_AWAY),
    )

    assert wanted == [active(described, [value])[0] for value in ("79.94", "79.95", "79.96")]


# hold 3 s
def test_a_bad_first_reading_during_the_start_up_hold_raises_nothing():
    described = feed(start_up=start_up(3))

    shown = looks(described, [(0.2, "0.0"), (1, "2.5")], [0, 0.2, 1, 2.999999999, 3, 10])

    assert shown == ["start-up"] * 4 + ["green"] * 2


def test_a_value_that_stays_bad_is_an_alarm_right_after_the_hold():
    shown = looks(feed(start_up=start_up(3)), [(0.2, "9.1")], [2.999999999, 3])

    assert shown == ["start-up", "red"]


def test_a_delay_begins_to_run_when_the_hold_ends():
    described = spec(
        band("green", None, 5, owns="none"),
        band("red", 5, None, on_delay=delay(1)),
        start_up=start_up(3),
    )

    assert looks(described, [(0.2, "9.1")], [3.9, 4]) == ["green", "red"]


# limit 30, delay 5 s, a sample each 0.5 s; 31 for 4.5 s, 29.9 once, 31 for 4.5 s
def interrupted(on_delay, dead_band=None):
    described = high_alarm("30", on_delay=on_delay, dead_band=dead_band)
    samples = [(step * 0.5, "31") for step in range(9)] + [(4.5, "29.9")]
    samples += [(5 + step * 0.5, "31") for step in range(9)] + [(9.5, "29")]
    times = [step * 0.5 for step in range(22)]
    shown = looks(described, samples, times)
    return next((at for at, look in zip(times, shown, strict=True) if look == "red"), None)


@pytest.mark.parametrize(
    ("on_delay", "dead_band", "first"),
    [
        (delay(5), None, None),
        (delay(5, Counting.ACCUMULATED), None, 5.5),
        (delay(5, Counting.ACCUMULATED, forget_after=seconds(0.4)), None, None),
        (delay(5, Counting.ACCUMULATED, forget_after=seconds(0.5)), None, 5.5),
        (delay(5), width("1"), None),
        (delay(5, dead_band_counts=True), width("1"), 5),
    ],
    ids=["unbroken", "accumulated", "forgotten", "just not forgotten", "dip", "dip counts"],
)
def test_what_an_interruption_does_is_as_stated(on_delay, dead_band, first):
    assert first == interrupted(on_delay, dead_band)


def test_a_delay_is_over_at_the_nanosecond_and_an_arrival_at_that_instant_comes_first():
    described = high_alarm("30", on_delay=delay(5))

    assert looks(described, [(0, "31")], [4.999999999, 5]) == ["green", "red"]
    assert looks(described, [(0, "31"), (5, "29")], [6]) == ["green"]


# a sentinel, silence, NaN, and a zero
def test_fault_stale_and_silence_are_neither_normal_nor_alarm():
    described = feed(no_reading=no_reading(stale_after=seconds(1), silent_after=seconds(3)))

    shown = looks(
        described,
        [(0, "2"), (1, None), (1.5, "0"), (2, "NaN"), (2.5, "11"), (3, "9")],
        [0, 1, 1.5, 2, 2.5, 3, 4, 4.000000001, 6, 6.000000001],
    )

    assert shown == [
        "green", "fault", "low", "fault", "fault", "red", "red", "stale", "stale", "silent",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("after", "look"), [(AfterFault.KEPT, "red"), (AfterFault.AFRESH, "amber")]
)
def test_what_a_fault_leaves_behind_is_as_stated(after, look):
    described = feed(no_reading=no_reading(after=after))

    assert [look] == looks(described, [(0, "5"), (1, None), (2, "4.40")], [2])


def test_a_fault_breaks_unbroken_time_also_where_dips_count():
    described = high_alarm("30", on_delay=delay(5, dead_band_counts=True), dead_band=width("2"))
    dip_after_fault = [(0, "31"), (2, None), (3, "29"), (9, "28")]

    assert looks(described, dip_after_fault, [3, 8, 9]) == ["green"] * 3


def test_a_fault_breaks_the_way_back_too():
    described = high_alarm("30", off_delay=delay(3))
    things = [(0, "31"), (1, "20"), (3, None), (3.5, "20")]

    assert looks(described, things, [2.9, 3, 6.4, 6.5]) == ["red", "fault", "red", "green"]


def test_time_without_a_reading_forgets_no_accumulated_time():
    kept = delay(5, Counting.ACCUMULATED, forget_after=seconds(3))
    described = high_alarm("30", on_delay=kept)
    things = [(0, "31"), (2, "20"), (4, None), (6, "20"), (8, "31")]

    assert looks(described, things, [10.9, 11]) == ["green", "red"]


def test_a_stale_sample_of_a_silent_node_leaves_it_silent():
    described = feed(no_reading=no_reading(silent_after=seconds(1)))

    given = [(seconds(at), reading(value, seconds(at))) for at, value in [(0, "2"), (2, "stale")]]
    turns = run(Logic(described, Instant(0)), given, seconds(3))

    assert [turn.state.look for turn in turns] == ["start-up", "green", "silent"]


def test_a_restart_begins_the_hold_again():
    described = feed(start_up=start_up(1))
    things = [(0, "5"), (2, "5")]
    machine = Logic(described, Instant(0))
    given = [(seconds(at), reading(value, seconds(at))) for at, value in things]
    turns = run(machine, [*given, (seconds(3), Restart())], seconds(9))

    assert [(turn.at / 1e9, turn.state.look) for turn in turns] == [
        (0, "start-up"),
        (1, "red"),
        (3, "start-up"),
    ]


def latched(events, **more):
    described = spec(
        band("green", None, 5, owns="none"),
        band("amber", 5, 8),
        band("red", 8, None, latched=True),
        latch=Latch(
            signal=BUTTON,
            label="pressed",
            mark=MARK,
            **({"while_active": False, "survives_restart": False} | more),
        ),
    )
    things = [(0, reading("released", 0, BUTTON))]
    for second, event in enumerate(events.split(), 1):
        at = seconds(second)
        if event == "ack":
            things += [(at, reading("pressed", at, BUTTON))]
            things += [(at + 1, reading("released", at + 1, BUTTON))]
        else:
            things.append((at, Restart() if event == "boot" else reading(event, at, INPUT)))
    machine = Logic(described, Instant(0))
    run(machine, things, seconds(60))
    return machine.state


@pytest.mark.parametrize(
    ("events", "more", "look", "held"),
    [
        ("9", {}, "red", False),
        ("9 2", {}, "red", True),
        ("9 6", {}, "red", True),
        ("9 2 ack", {}, "green", False),
        ("9 6 ack", {}, "amber", False),
        ("9 ack 2", {}, "red", True),
        ("9 ack 2 ack", {}, "green", False),
        ("9 ack 2", {"while_active": True}, "green", False),
        ("9 ack 2 9 2", {"while_active": True}, "red", True),
        ("9 2 9 ack", {}, "red", False),
        ("9 2 boot 2", {}, "green", False),
        ("9 2 boot 2", {"survives_restart": True}, "red", True),
        ("9 ack boot 2", {"survives_restart": True, "while_active": True}, "green", False),
        ("9 2 boot 2 ack", {"survives_restart": True}, "red", True),
        ("6 2", {}, "green", False),
    ],
)
def test_a_latch_in_each_order_of_clearing_and_acknowledging(events, more, look, held):
    state = latched(events, **more)

    assert (look, held) == (state.look, state.held)


def test_a_fault_hides_a_latch_and_does_not_lose_it():
    state = latched("9 2")
    assert state.unacknowledged == ("red",)
    hidden = latched("9 -1")

    assert (hidden.look, hidden.unacknowledged) == ("fault", ("red",))


def test_of_two_alarms_as_severe_the_later_one_is_shown():
    slow = delay(10)
    described = spec(
        band("low", None, 2, owns="high"),
        band("green", 2, 8, owns="none"),
        band("high", 8, None, off_delay=slow),
    )

    assert looks(described, [(0, "9"), (1, "1")], [0, 1]) == ["high", "low"]
