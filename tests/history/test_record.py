"""What is kept of a journal."""

import pytest
from history.nights import identified, night, of, record
from report.runs import begun, check, ended, over, started

from hil.core.error import DescriptionError
from hil.core.event import AlarmPoint, AlarmSpec
from hil.core.instant import Instant
from hil.history.record import recorded


def test_checks_are_kept_with_value_margin_and_latency():
    (kept,) = record(night(("a", "pass", {"got": "44.10 deg", "margin": 0.4})), 0).checks

    assert (kept.value, kept.unit, kept.margin) == (44.1, "deg", 0.4)
    assert (kept.latency, kept.deadline) == (60_000_000, 600_000_000)
    assert (kept.step, kept.signal, kept.form, kept.nth) == (
        1,
        "louvres.vane-2.position",
        "# deg ± # deg, within",
        1,
    )


def test_a_precondition_and_a_missed_deadline_have_no_latency():
    facts = {"step": 0, "elapsed": 0, "change": (0, 0)}
    early = record(night(("a", "pass", facts)), 0).checks[0]
    missed = record(night(("a", "fail", {"change": None})), 0).checks[0]
    late = record(night(("a", "fail", {"change": (1, 700_000_000)})), 0).checks[0]

    assert (early.latency, early.deadline) == (None, None)
    assert missed.latency is None
    assert late.latency == 700_000_000


def test_a_measure_is_kept_with_its_figures_and_the_first_is_its_value():
    figures = (("settle", 150e6, 155e6, 160e6, "ns"), ("overshoot", 0.0, 0.1, None, "%"))
    facts = {"got": "settling time 150 ms to 160 ms", "figures": figures}
    (kept,) = record(night(("a", "pass", facts)), 0).checks

    assert (kept.value, kept.unit, kept.figures) == (155e6, "ns", figures)


def test_every_attempt_is_kept():
    events = [started("a"), begun(0, "a"), check(0, "fail"), ended(0, "a", "fail", "x")]
    events += [begun(0, "a", 2), check(0, "pass"), ended(0, "a", "pass", attempt=2)]

    kept = record([*events, *over()], 0)

    assert [(one.attempt, one.outcome) for one in kept.checks] == [(1, "fail"), (2, "pass")]
    assert [case.outcome.word for case in kept.result.cases] == ["unstable"]


def test_a_trip_point_is_kept_as_a_check_with_its_distance_as_margin():
    spec = AlarmSpec(
        at=Instant(0), spec="Feed pressure", signal="feedline.pressure", unit="bar", low="0",
        high="10", normal="green", bands=(), points=(), searched=(), tolerance="0.02", rule="",
        place="x.yaml:3:5", requirements=(),
    )  # fmt: skip
    point = AlarmPoint(
        at=Instant(9), index=0, step=1, spec="Feed pressure", signal="feedline.pressure",
        alarm="high", point="trip", way="rising", wanted="3.60", low="3.59", high="3.60",
        mean="3.595", spread="0", repeats=3, probes=9, odd=(), uncertainty="0.0058", rule="",
        difference="0.005", unit="bar", outcome="pass", text="", place="x.yaml:3:5",
        requirements=(),
    )  # fmt: skip
    events = [started("a"), spec, begun(0, "a"), point, ended(0, "a", "pass"), *over()]
    (kept,) = record(events, 0).checks

    assert (kept.form, kept.value, kept.unit) == ("Feed pressure: high trip", 3.595, "bar")
    assert kept.margin == pytest.approx(0.75)


def test_a_run_is_the_same_run_however_much_of_it_was_written():
    events = of("pass", "fail")

    assert record(events, 0).key == record(events[:4], 0).key
    assert record(events, 0).key != record(events, 1).key
    assert record(events, 0).key != record(of("pass"), 0).key


def test_who_the_nodes_are_is_kept():
    kept = record(night(("a", "pass", {}), extra=[identified("1.5.0")]), 0)

    assert kept.identities["louvres"].firmware == "1.5.0"


def test_a_journal_without_a_beginning_is_refused():
    with pytest.raises(DescriptionError, match="tells of no run"):
        recorded(of("pass")[1:], "x", None)
