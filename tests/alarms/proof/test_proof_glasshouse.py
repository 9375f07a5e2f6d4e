"""The demo's spec on the demo's software: a head unit that decides for other nodes, with noise."""

from functools import cache

import pytest
from alarms.proof.proving_ground import FIXTURES, prove, titled, with_settings

from hil.files.read import read_alarms, read_rack

RACK = FIXTURES / "glasshouse.yaml"


@cache
def specs():
    rack = read_rack(RACK)
    found = read_alarms(FIXTURES / "glasshouse-alarms.yaml", rack)
    return rack, {spec.name: spec for spec in found}


def test_the_feed_pressure_passes_in_every_property():
    rack, found = specs()
    proven = prove(found["Feed pressure"], rack, repeats=1)

    assert set(proven.outcomes.values()) == {"pass", "skipped"}
    assert proven.titles("skipped") == {
        "Feed pressure: fault: not-a-number",
        "Feed pressure: fault: out-of-range",
    }


def test_a_level_is_found_through_the_distance_that_it_follows():
    rack, found = specs()
    proven = prove(found["Water level"], rack, titled("trip", "reset", "silent"), repeats=1)
    points = {(one.alarm, one.point): (one.low, one.high) for one in proven.points}

    assert points == {
        ("dry", "trip"): ("10.0", "10.1"),
        ("dry", "reset"): ("11.9", "12.0"),
        ("low", "trip"): ("25.0", "25.1"),
        ("low", "reset"): ("26.9", "27.0"),
        ("full", "trip"): ("89.9", "90.0"),
        ("full", "reset"): ("88.0", "88.1"),
    }
    assert "could not be seen meanwhile" in proven.properties["fault: silent"].text


def test_a_noisy_input_gives_an_interval_that_is_judged_with_its_spread():
    rack, found = specs()
    proven = prove(found["Air temperature"], rack, titled("trip point"), repeats=3)

    # noise of the input: 0.05 degC around 21.5 and 22.5; tolerance 0.1 degC
    assert set(proven.outcomes.values()) == {"pass"}
    for point in proven.points:
        assert abs(float(point.difference)) <= 0.05
        assert float(point.low) < float(point.mean) < float(point.high)


@pytest.mark.parametrize(
    ("setting", "value", "fails"),
    [
        ("feed-red", "4.55 bar", {"over: trip point", "over: reset point"}),
        (
            "feed-dead-band",
            "0.05 bar",
            {"low: reset point", "high: reset point", "over: reset point"},
        ),
    ],
)
def test_a_head_unit_with_other_limits_fails_at_those(setting, value, fails):
    rack, found = specs()
    wrong = with_settings(rack, {setting: value})
    proven = prove(found["Feed pressure"], wrong, titled("trip point", "reset point"), repeats=1)

    assert proven.titles("fail") == {f"Feed pressure, {title}" for title in fails}
    blamed = {node for one in proven.ended.values() for node in one.blamed}
    assert blamed == {"console"}  # the node that decides
