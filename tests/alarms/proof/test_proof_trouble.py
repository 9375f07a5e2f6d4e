"""A proof that cannot go on keeps what it has; what cannot be judged is not judged."""

from dataclasses import replace
from decimal import Decimal

from alarms.proof.proving_ground import gauge_rack, gauge_spec, play, prove, titled, with_settings

from hil.alarms.means import Line, Means
from hil.alarms.proof.prove import proof_case, proof_jobs
from hil.alarms.proof.station import obstacle, stations
from hil.alarms.spec import Rule
from hil.core.instant import SECOND, Duration
from hil.core.plan import Step, Stimulus


def test_a_node_that_dies_in_the_middle_leaves_what_was_measured():
    proven = prove(
        gauge_spec(),
        gauge_rack(),
        titled("high: trip", "high: reset", "transitions"),
        dies_after=88,
    )
    trip, reset = proven.points

    assert (trip.outcome, trip.repeats) == ("pass", 3)
    assert (reset.low, reset.high, reset.repeats) == ("2760", "2761", 2)
    assert proven.properties["high reset point"].outcome == "not run"
    assert "no answer within 50 ms; the rest was not run" in proven.told()
    assert proven.properties["transitions"].outcome == "not run"


def test_a_node_that_dies_at_once_was_not_measured():
    proven = prove(gauge_spec(), gauge_rack(), titled("high: trip"), dies_after=3)

    assert proven.properties["high trip point"].outcome == "not run"
    assert "nothing was measured before that" in proven.told()
    assert [(one.low, one.high, one.mean, one.repeats) for one in proven.points] == [
        ("", "", "", 0)
    ]


def test_an_abort_keeps_the_searches_that_ended():
    proven = prove(gauge_spec(), gauge_rack(), titled("high: trip"), abort_at=3_000_000_000)
    (point,) = proven.points

    assert (point.low, point.high, point.repeats) == ("2799", "2800", 1)
    assert proven.properties["high trip point"].outcome == "error"
    assert proven.run.safe


def test_a_reboot_of_its_own_ends_a_proof_as_a_failure():
    spec = gauge_spec()
    (job,) = [
        job
        for job in proof_jobs(spec, gauge_rack().signals())
        if job.title.endswith("high: trip point")
    ]
    rack = with_settings(gauge_rack(), {"boot-time": "20 ms"})

    case = proof_case(job, "proof")
    stimulus = Stimulus(signal="gauge.power", value="restart", mark=case.mark)
    step = Step(
        stimuli=(stimulus,), expectations=(), wait=Duration(SECOND), mark=case.mark, job=job
    )
    proven = play([replace(case, steps=(step,))], rack)

    assert proven.outcomes == {"Level, high: trip point": "fail"}
    assert "gauge rebooted by itself" in proven.told()


def test_a_tolerance_moves_the_outer_counts_and_forgives_the_inner_ones():
    spec = gauge_spec()
    tolerant = replace(spec, tolerance=replace(spec.tolerance, level=Decimal(2)))
    late = with_settings(gauge_rack(), {"mistake": "edge-late"})

    proven = prove(tolerant, late, titled("high: trip", "high: counts"))

    assert proven.titles("fail") == set()


def test_a_guarded_rule_says_inconclusive_where_the_doubt_reaches_the_limit():
    spec = gauge_spec()
    guarded = replace(
        spec, tolerance=replace(spec.tolerance, level=Decimal("1.2"), rule=Rule.GUARDED)
    )
    late = with_settings(gauge_rack(), {"mistake": "edge-late"})

    proven = prove(guarded, late, titled("high: trip"))

    # off by 1 mV of 1.2, U = 2 x 1/sqrt(12) = 0.577 (JCGM 100:2008, 4.3.7): within U of the limit
    assert proven.outcomes == {"Level, high: trip point": "inconclusive"}


def test_an_input_that_nothing_drives_is_an_obstacle():
    rack = gauge_rack()
    spec = replace(gauge_spec(), signal="gauge.lamp")

    assert "gauge.lamp cannot be driven" in obstacle(spec, rack.signals())
    assert "there is no signal" in obstacle(replace(spec, signal="gauge.levl"), rack.signals())


def test_a_level_is_driven_through_the_signal_it_follows():
    spec = gauge_spec()
    line = Line(signal="gauge.level", at_low=Decimal(4095), at_high=Decimal(0))
    mirrored = replace(spec, means=Means(ways=(), mark=spec.mark, line=line))
    found = stations(mirrored, gauge_rack().signals())

    assert (found.driven(0), found.driven(4095), found.driven(1000)) == (4095, 0, 3095)


def test_the_core_of_a_band_is_clear_of_every_worse_dead_band():
    found = stations(gauge_spec(), gauge_rack().signals())

    assert found.core("normal") == range(1240, 2761)
    assert found.core("high") == range(2800, 3561)
    assert found.core("low") == range(440, 1201)
    assert found.core("highest") == range(3600, 4096)
