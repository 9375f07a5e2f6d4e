"""What differs between two runs."""

from dataclasses import replace

import pytest
from history.nights import about, folder_of, history, identified, keep_run, mark, night, of

from hil.core.event import RunStarted
from hil.history.change import Kind
from hil.history.changed import changes
from hil.history.passages import Passage, passages_of_cases, stability, streak
from hil.history.runs import find_run, newest

MS = 1_000_000


def told(connection, newer="glasshouse:virtual", older=None):
    first = None if older is None else find_run(connection, older)
    return changes(connection, find_run(connection, newer), first)


def kinds(found):
    return {change.title: change.kind.value for change in found.cases}


# The table of hil.history.change, row by row: before, now, kind.
@pytest.mark.parametrize(
    ("before", "now", "kind"),
    [
        ("pass", "pass", None),
        ("fail", "pass", "fixed"),
        ("pass", "fail", "newly broken"),
        ("fail", "fail", "still broken"),
        ("fail", "inconclusive", "still broken"),
        ("pass", "error", "newly broken"),
        ("pass", "not run", "not run any more"),
        ("pass", "skipped", "not run any more"),
        ("skipped", "skipped", "never run"),
        ("not run", "pass", "newly run"),
        ("not run", "fail", "newly broken"),
    ],
)
def test_a_case_changes_as_the_table_says(tmp_path, reading, before, now, kind):
    connection = reading(history(tmp_path, [of(before, "pass"), of(now, "pass")]))

    expected = {} if kind is None else {"a": kind}
    assert kinds(told(connection)) == expected
    assert kinds(told(connection, about(1).run, about(0).run)) == expected


def test_what_only_another_rack_has_judged_was_never_run_here(tmp_path, reading):
    place = history(tmp_path, [of("pass")])
    elsewhere = [
        replace(event, bench="annexe") if isinstance(event, RunStarted) else event
        for event in of("not run")
    ]
    keep_run(place, folder_of(tmp_path, elsewhere, 1))

    assert kinds(told(reading(place), "annexe:virtual")) == {"a": "never run"}


def test_a_first_run_says_what_is_broken(tmp_path, reading):
    found = told(reading(history(tmp_path, [of("pass", "fail")])))

    assert found.older is None
    assert kinds(found) == {"a": "newly run", "b": "newly broken"}


def test_a_case_is_held_against_the_last_run_that_judged_it(tmp_path, reading):
    """A run of one case at noon must not hide what the night has found."""
    nights = [of("fail", "pass", "pass"), night(("b", "pass", {})), of("fail", "fail", "pass")]
    found = told(reading(history(tmp_path, nights)))

    assert kinds(found) == {"a": "still broken", "b": "newly broken"}


def test_a_case_that_is_gone_from_its_plan_is_told(tmp_path, reading):
    found = told(reading(history(tmp_path, [of("pass", "pass"), of("pass")])))

    assert kinds(found) == {"b": "not run any more"}


def test_what_is_still_broken_is_so_since_a_night(tmp_path, reading):
    nights = [of("fail"), of("pass"), of("fail"), of("not run"), of("error"), of("fail")]
    (change,) = told(reading(history(tmp_path, nights))).of(Kind.STILL)

    assert (change.runs, change.since.name) == (3, about(2).run)


def timed(*milliseconds):
    return [
        night(("a", "pass", {"elapsed": round(ms * MS), "change": (0, round(ms * MS))}))
        for ms in milliseconds
    ]


def test_a_response_beyond_its_spread_is_slower(tmp_path, reading):
    nights = timed(60, 61, 59, 60.5, 59.5, 60, 75)
    (slower,) = told(reading(history(tmp_path, nights))).slower

    assert (slower.now, slower.usual, slower.slowest, slower.runs) == (
        75 * MS,
        60 * MS,
        61 * MS,
        6,
    )


@pytest.mark.parametrize("last", [60, 61.5, 40])
def test_a_response_within_its_spread_is_not(tmp_path, reading, last):
    found = told(reading(history(tmp_path, timed(60, 61, 59, 60.5, 59.5, 60, last))))

    assert (found.slower, found.unsure) == ((), 0)


def test_too_few_runs_say_nothing_about_slowness(tmp_path, reading):
    found = told(reading(history(tmp_path, timed(60, 60, 60, 60, 90))))

    assert (found.slower, found.unsure) == ((), 1)


def test_other_firmware_is_told_beside_what_changed(tmp_path, reading):
    cases = (("a", "pass", {}),)
    nights = [night(*cases, extra=[identified("1.4.2")]), night(*cases, extra=[identified("1.5")])]
    found = told(reading(history(tmp_path, nights)))

    assert found.notes == ("louvres: firmware 1.4.2 before, 1.5 now",)
    assert not found.worth_telling


def test_a_known_fault_is_told_when_it_is_new_mended_or_over(tmp_path, reading):
    shown, passing = ("a", "fail", {}), ("a", "pass", {})
    other = ("a", "fail", {"got": "30.00 deg"})
    nights = [
        night(passing),
        night(shown, extra=[mark()]),
        night(shown, extra=[mark()]),
        night(passing, extra=[mark()]),
        night(other, extra=[mark()]),
        night(shown, extra=[mark(until="2026-10-04")]),
    ]
    connection = reading(history(tmp_path, nights))
    each = [told(connection, about(number).run) for number in range(1, 6)]

    assert [kinds(found) for found in each] == [
        {"a": "newly known"},
        {},
        {"a": "fixed"},
        {"a": "newly broken"},
        {"a": "still broken"},
    ]
    assert [[m.standing for m in found.marks] for found in each] == [
        [],
        [],
        ["passing"],
        ["other"],
        ["shown, over"],
    ]
    assert [found.worth_telling for found in each] == [True, False, True, True, True]


def test_what_is_still_broken_is_no_news(tmp_path, reading):
    connection = reading(history(tmp_path, [of("pass"), of("fail"), of("fail"), of("pass")]))
    told_of = [told(connection, about(number).run).worth_telling for number in range(1, 4)]

    assert told_of == [True, False, True]


def test_a_run_that_was_killed_is_news_once(tmp_path, reading):
    whole = of("pass", "pass")
    connection = reading(history(tmp_path, [whole, whole[:-2], whole[:-2]]))

    assert told(connection, about(1).run).worth_telling
    assert not told(connection, about(2).run).worth_telling


def passage(outcome):
    return Passage(case=1, plan="p", title="a", run=1, outcome=outcome, attempts=1, reason="")


@pytest.mark.parametrize(
    ("outcomes", "flips", "chances", "streak_"),
    [
        ("pass pass pass", 0, 2, 0),
        ("pass fail pass fail", 3, 3, 1),
        ("pass skipped fail known fail", 1, 2, 1),
        ("fail error inconclusive", 0, 2, 3),
        ("unstable pass", 1, 1, 0),
        ("", 0, 0, 0),
    ],
)
def test_turns_and_streaks_are_counted(outcomes, flips, chances, streak_):
    found = [passage(word) for word in outcomes.split()]
    steady = stability(found)

    assert (steady.flips, steady.chances) == (flips, chances)
    assert len(streak(found)) == streak_


def test_passages_come_in_the_order_of_nights(tmp_path, reading):
    connection = reading(history(tmp_path, [of("pass"), of("fail"), of("pass")]))
    (found,) = passages_of_cases(connection, [1], newest(connection, 9)).values()

    assert [each.outcome for each in found] == ["pass", "fail", "pass"]
