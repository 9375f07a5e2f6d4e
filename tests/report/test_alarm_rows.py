"""Which points a journal tells, in which order, and what is missing."""

from dataclasses import replace

from report.alarm_paper import RESET, SPEC, TRIP

from hil.core.event import read, render
from hil.report.alarm_rows import AlarmFold
from hil.report.tally import fold


def test_rows_stand_in_the_order_of_the_run():
    (found,) = fold([SPEC, TRIP, RESET]).alarms

    assert (found.name, found.unit, found.picture) == (
        "Feed pressure",
        "bar",
        "alarm-feed-pressure.svg",
    )
    assert found.rows == (TRIP, RESET)


def test_a_point_that_was_not_come_to_is_not_run():
    (found,) = fold([SPEC, RESET]).alarms

    assert [(row.point, row.outcome) for row in found.rows] == [
        ("trip", "not run"),
        ("reset", "pass"),
    ]
    assert (found.rows[0].way, found.rows[0].wanted, found.rows[0].mean) == ("rising", "3.60", "")


def test_another_attempt_takes_the_place_of_the_first():
    again = replace(TRIP, outcome="pass")
    (found,) = fold([SPEC, TRIP, RESET, again]).alarms

    assert found.rows == (again, RESET)


def test_points_of_a_journal_without_specs_are_told_all_the_same():
    (found,) = fold([TRIP]).alarms

    assert found.told is None
    assert found.rows == (TRIP,)


def test_specs_of_two_files_are_two_and_never_share_a_file():
    other = replace(SPEC, place="fixtures/others.yaml:5:3", searched=())
    third = replace(SPEC, spec="feed/Pressure!", searched=())
    fresh = AlarmFold()
    for event in (SPEC, other, third):
        fresh.receive(event)

    assert [found.picture for found in fresh.result()] == [
        "alarm-feed-pressure.svg",
        "alarm-feed-pressure-2.svg",
        "alarm-feed-pressure-3.svg",
    ]


def test_a_name_cannot_leave_the_folder():
    (found,) = fold([replace(SPEC, spec="../../etc/passwd")]).alarms
    (blank,) = fold([replace(SPEC, spec="/ . /")]).alarms

    assert (found.picture, blank.picture) == ("alarm-etc-passwd.svg", "alarm-spec.svg")


def test_a_spec_comes_back_from_the_journal_as_it_was():
    assert read(render(SPEC)) == SPEC
