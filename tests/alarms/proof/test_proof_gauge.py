"""The proof against the software gauge: the right one passes, each mistake is found as itself.

The gauge's logic (hil.nodes.limit_alarm) shares no line with hil.alarms.
"""

from functools import cache

import pytest
from alarms.proof.proving_ground import gauge_rack, gauge_spec, prove, titled, with_settings

from hil.alarms.search import most_probes
from hil.core.verdict import Outcome
from hil.nodes.limit_alarm import MISTAKES

PRESENT = {
    "edge-late": {"Level, high: trip point", "Level, high: counts around the edge"},
    "edge-of-the-other": {"Level, low: trip point", "Level, low: counts around the edge"},
    "no-dead-band": {
        "Level, high: reset point",
        "Level, high: counts around the edge",
        "Level, high: chatter",
    },
    "dead-band-inward": {
        "Level, high: trip point",
        "Level, high: reset point",
        "Level, high: counts around the edge",
        "Level, high: chatter",
    },
    "delay-accumulated": {"Level, high: on-delay"},
    "off-delay-ignored": {"Level, low: off-delay"},
    "tower-swapped": {"Level: agreement"},
    "not-a-number-normal": {"Level: fault: not-a-number"},
    "sentinel-alarm": {"Level: fault: sentinel"},
    "silence-ignored": {"Level: fault: stale", "Level: fault: silent"},
    "latch-forever": {"Level, highest: latch"},
    "no-hold": {"Level: start-up hold"},
}
"""What fails for which mistake: the properties that are about it, and nothing else."""

HIDDEN = {
    "latch-forever": {
        "Level, highest: reset point",
        "Level, highest: counts around the edge",
        "Level: transitions",
    }
}
"""What cannot be judged any more because of a mistake."""


@cache
def proven_with(mistake: str):
    return prove(gauge_spec(), with_settings(gauge_rack(), {"mistake": mistake}))


@pytest.fixture(scope="module")
def right():
    return prove(gauge_spec(), gauge_rack())


def test_the_right_gauge_passes_in_every_property(right):
    assert right.titles("pass") == set(right.outcomes) - {"Level: sensor-restart"}
    assert right.run.outcome is Outcome.PASS


def test_what_has_no_way_is_listed_and_skipped(right):
    assert right.titles("skipped") == {"Level: sensor-restart"}
    assert right.ended["Level: sensor-restart"].reasons == ("not provoked: no way declared",)


def test_every_point_is_found_down_to_one_count_within_the_budget(right):
    found = {(one.alarm, one.point, one.way): (one.low, one.high) for one in right.points}

    assert found == {
        ("lowest", "trip", "falling"): ("400", "401"),
        ("lowest", "reset", "rising"): ("439", "440"),
        ("low", "trip", "falling"): ("1200", "1201"),
        ("low", "reset", "rising"): ("1239", "1240"),
        ("high", "trip", "rising"): ("2799", "2800"),
        ("high", "reset", "falling"): ("2760", "2761"),
        ("highest", "trip", "rising"): ("3599", "3600"),
        ("highest", "reset", "falling"): ("3560", "3561"),
    }
    assert all(one.probes <= most_probes(0, 4095) == 15 for one in right.points)
    assert all((one.repeats, one.spread, one.difference) == (3, "0", "0") for one in right.points)


def test_all_twenty_transitions_and_all_four_alarms_are_covered(right):
    assert [(c.what, c.covered, c.of, c.missing) for c in right.coverage.values()] == [
        ("alarms", 4, 4, ()),
        ("transitions", 20, 20, ()),
    ]


def test_requirements_of_spec_and_band_are_in_the_events(right):
    assert right.properties["high trip point"].requirements == ("AG-01", "AG-04")
    assert right.properties["transitions"].requirements == ("AG-01",)


def test_every_mistake_of_the_gauge_has_its_property():
    assert set(PRESENT) == set(MISTAKES)


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_found_by_exactly_the_properties_about_it(mistake):
    proven = proven_with(mistake)

    assert proven.titles("fail") == PRESENT[mistake]
    assert proven.titles("inconclusive") == HIDDEN.get(mistake, set())
    assert proven.titles("error") == proven.titles("not run") == set()


@pytest.mark.parametrize(
    ("mistake", "told"),
    [
        ("edge-late", "trips rising between 2800 and 2801 mV in 3 searches, wanted between 2799"),
        ("edge-of-the-other", "does not trip at 1200 mV, coming from normal, wanted that it trips"),
        (
            "no-dead-band",
            "8 transitions, wanted none; at most 4 activations within a minute, which is chatter",
        ),
        ("tower-swapped", "highest (red) is not shown by all: gauge.tower amber"),
        ("delay-accumulated", "after an interruption one sample long, wanted 200 ms"),
        ("sentinel-alarm", "fault is not shown after 80 ms"),
        ("latch-forever", "cleared, then acknowledged: wanted gone, but shows highest"),
        ("latch-forever", "never: lowest to normal, highest to low, highest to normal"),
        ("no-hold", "start-up is not shown"),
    ],
)
def test_the_sentence_says_what_is_wrong(mistake, told):
    assert told in proven_with(mistake).told()


def test_twice_the_same_proof_is_the_same_journal(right):
    assert prove(gauge_spec(), gauge_rack()).events == right.events


@pytest.mark.parametrize("trip", [1, 2, 700, 2047, 2048, 3599])
def test_a_trip_point_anywhere_is_found_within_the_budget(trip):
    settings = {"high-trip": f"{max(trip, 1201)} mV", "low-trip": f"{min(trip, 1200)} mV"}
    settings |= {"lowest-trip": "0 mV", "dead-band": "0 mV"}
    proven = prove(
        gauge_spec(),
        with_settings(gauge_rack(), settings),
        titled("low: trip", "high: trip"),
        repeats=1,
    )
    alarm = "low" if trip <= 1200 else "high"
    (point,) = [one for one in proven.points if one.alarm == alarm]
    reachable = trip if alarm == "high" else trip + 1  # between this count and the one below

    assert (point.low, point.high) == (str(reachable - 1), str(reachable))
    assert point.probes <= most_probes(0, 4095)
