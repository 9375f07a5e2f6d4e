"""The sections of the page, what is told beside checks, and how values are shown."""

import pytest
from report.alarm_paper import RESET, SPEC, TRIP
from report.page_run import Page, made
from report.runs import begun, check, ended, over, run, started

from hil.core.event import (
    AlarmCoverage,
    BenchCommand,
    BusHealth,
    ConsoleLine,
    HostNoted,
    OperatorAnswered,
    OperatorAsked,
    SegmentSeen,
    TrialEnded,
)
from hil.core.instant import Instant
from hil.core.verdict import Outcome
from hil.report.alarm_files import write_alarms
from hil.report.journal import INCOMPLETE
from hil.report.page import filters
from hil.report.page.sections import SECTIONS
from hil.report.tally import fold

MS = 1_000_000
AT = Instant(4)


def page(tmp_path, *events):
    tmp_path.mkdir(exist_ok=True)
    return Page(made(tmp_path, [*run("pass"), *events]))


def test_a_run_without_them_has_no_sections(tmp_path):
    titles = [section.title for section in SECTIONS]
    text = page(tmp_path).text

    assert [title for title in titles if f"{title} " in text] == []


def test_the_points_of_an_alarm_spec_are_shown_with_their_picture(tmp_path):
    covered = AlarmCoverage(
        at=AT, index=0, step=1, spec="Feed pressure", signal="feedline.pressure",
        what="transitions", covered=11, of=12, missing=("low to over",), outcome="fail",
        text="11 of 12 transitions provoked", place="a.yaml:1:1", requirements=(),
    )  # fmt: skip
    told = [SPEC, TRIP, RESET, covered]
    write_alarms(tmp_path, fold([*run("pass"), *told]).alarms)
    shown = page(tmp_path, *told)

    assert "alarm-feed-pressure.svg" in [source for source, _ in shown.pictures]
    assert (tmp_path / "alarm-feed-pressure.svg").exists()
    for part in ("high trip rising 3.60 3.65 to 3.66", "not provoked: low to over"):
        assert part in shown.text


def test_the_figures_of_a_measure_are_shown_with_their_doubt(tmp_path):
    rise = ("rise", 107.2e6, 121.2e6, 132.7e6, "ns")
    open_end = ("settle", 600e6, 600e6, None, "ns")
    text = page(tmp_path, check(0, "pass", figures=(rise, open_end))).text

    assert "rise 121.2 ms 107.2 ms and 132.7 ms" in text
    assert "settle 600 ms 600 ms and open" in text


def test_trials_are_counted_with_their_shortest_median_and_longest(tmp_path):
    trials = [
        TrialEnded(
            at=AT,
            index=0,
            step=1,
            number=turn,
            outcome="pass" if latency else "fail",
            latency=(latency * MS, latency * MS) if latency else None,
            reasons=() if latency else ("it stayed amber",),
        )
        for turn, latency in enumerate((40, 30, 0, 50, 31), 1)
    ]
    text = page(tmp_path, *trials).text

    # the median of 30, 31, 40 and 50 is 35.5
    assert "case 0 1 5 4 30 ms 35.5 ms 50 ms it stayed amber" in text


def test_what_the_bus_told_first_and_last_stands_side_by_side(tmp_path):
    first = BusHealth(at=AT, who="interface", facts=(("collisions", "0"), ("mtu", "not measured")))
    last = BusHealth(at=AT, who="interface", facts=(("collisions", "7"), ("mtu", "not measured")))
    seen = SegmentSeen(
        at=AT, elapsed=10**9, busy=28 * MS, utilisation=0.028, frames=412, lost=1, spoiled=2,
        shares=(("tool", 49, 0, 0, 0, 3, 2 * MS, 27_135, 188_415, 306_000),),
    )  # fmt: skip
    text = page(tmp_path, first, last, seen).text

    assert "collisions 0 7 mtu not measured not measured" in text
    assert "412 frames held the line for 28 ms of 1 s: 2.8 %" in text
    assert "1 were swallowed, 2 had a bit error" in text


def test_what_people_and_programs_did_stands_in_the_case_with_the_console(tmp_path):
    asked = OperatorAsked(
        at=AT, index=0, step=1, what="look", text="Is the disc red?", within=9, stand_in="",
        place="p.yaml:1:1",
    )  # fmt: skip
    answered = OperatorAnswered(
        at=AT, index=0, step=1, what="look", text="Is the disc red?", answer="no", by="person",
        took=2_500 * MS,
    )  # fmt: skip
    program = BenchCommand(
        at=AT, signal="bench.supply", value="off", argv=("supply", "--off"), how="ended", code=3,
        took=40 * MS, size=12, head="no supply", tail="",
    )  # fmt: skip
    line = ConsoleLine(at=AT, node="louvres", text="\x1b[31mstall on vane 2", cut=True)
    events = [
        started("case 0"),
        begun(0, "case 0"),
        asked,
        answered,
        program,
        line,
        check(0, "fail"),
        ended(0, "case 0", "fail", "it failed"),
        *over(),
    ]
    text = Page(made(tmp_path, events)).text

    for part in (
        "asked Is the disc red?",
        "person no, after 2.5 s",
        "supply --off (bench.supply to off): ended, exit code 3, 40 ms; it printed: no supply",
        r"from louvres \x1b[31mstall on vane 2 (cut here)",
    ):
        assert part in text


def test_every_verdict_has_a_shape_of_its_own():
    shapes = {filters.mark(outcome) for outcome in Outcome}

    assert len(shapes) == len(Outcome)
    assert filters.mark("no such verdict") == filters.mark(Outcome.ERROR)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (1.0, "m10"),
        (0.96, "m10"),
        (0.44, "m4"),
        (0.0, "m0"),
        (-0.01, "mx"),
        (7.5, "m10"),
        (None, "mn"),
    ],
)
def test_a_margin_has_a_bar_as_long_as_it_is(value, shown):
    assert filters.margin_class(value) == shown


@pytest.mark.parametrize(
    ("change", "elapsed", "shown"),
    [
        (None, None, "–"),
        (None, 39_371_200, "39.37 ms"),
        ((31 * MS, 39 * MS), 39 * MS, "31 ms to 39 ms"),
        ((39 * MS, 39 * MS), 39 * MS, "39 ms"),
    ],
)
def test_an_answer_is_a_time_or_the_interval_in_which_it_lies(change, elapsed, shown):
    assert filters.answer(check(0, "pass", change=change, elapsed=elapsed)) == shown


def test_signs_that_turn_a_line_or_move_a_cursor_are_shown():
    assert filters.finish("a\u202eb\x1b") == "a\\u202eb\\x1b"


def test_a_failure_of_which_no_node_is_known_is_among_what_is_not_known(tmp_path):
    events = [started("a", "b"), begun(0, "a"), ended(0, "a", "fail", "the disc is not green")]
    events += [begun(1, "b"), check(1, "fail"), ended(1, "b", "fail", "late")]
    text = Page(made(tmp_path, [*events, *over()])).text

    assert "1 case failed of which no node is known: a" in text


def test_a_page_of_an_incomplete_journal_says_so(tmp_path):
    lost = HostNoted(at=AT, trouble=INCOMPLETE, amount=9, text="the journal is not complete")
    text = page(tmp_path, lost).text

    assert "bench, journal incomplete: the journal is not complete" in text
    assert "which has what could be written of the datagrams, commands and checks" in text
    assert "which has every datagram, command and check" in page(tmp_path / "other").text
