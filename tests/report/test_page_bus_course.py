"""How the bus went over the run: what changed, what was not measured, and that it was not zero."""

import re
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st
from report.page_run import Page, made
from report.runs import run

from hil.core.event import BusHealth
from hil.core.instant import SECOND, Instant
from hil.report.page.bus_course import EDGE, HEIGHT, WIDTH, BusCourse
from hil.report.tally import fold

QUALITY = "feedline.quality"
BOTTOM = HEIGHT - EDGE


def told(*facts, what=QUALITY, who="feedline", every=1):
    return [
        BusHealth(at=Instant(at * every * SECOND), who=who, facts=((what, how),))
        for at, how in enumerate(facts)
    ]


def courses(events, last=8):
    section = BusCourse()
    for event in events:
        section.receive(event)
    shown = section.shown(replace(fold(run("pass")), last_at=last * SECOND))
    return [] if shown is None else shown["courses"]


def numbers(path):
    return [float(each) for each in re.findall(r"-?\d+(?:\.\d+)?", path)]


def test_a_fact_that_moved_is_drawn_over_the_whole_run():
    (course,) = courses(told("0", "0", "12", "19", what="eth1 collisions"))

    assert (course.first, course.lowest, course.highest, course.last) == ("0", "0", "19", "19")
    # the first value at the bottom, the last at the top, to the end of the run
    assert course.lines[0].startswith(f"M0.0 {BOTTOM:.1f}")
    assert course.lines[0].endswith(f"V{EDGE:.1f}H{WIDTH:.1f}")
    assert course.gaps == ()


def test_what_was_not_measured_is_a_gap_and_no_zero():
    (course,) = courses(told("6 of 7", "not measured", "not measured", "0 of 7"))

    assert len(course.lines) == 2
    assert numbers(course.gaps[0]) == [WIDTH * 1 / 8, BOTTOM, WIDTH * 3 / 8]
    assert course.unmeasured == "2 s of 8 s"
    assert (course.lowest, course.highest) == ("0 of 7", "6 of 7")
    assert "no number for 2 s of 8 s" in course.words


def test_a_quality_has_the_scale_that_was_told_with_it():
    (course,) = courses(told("7 of 7", "0 of 7", "3.5 of 7"))

    assert f"V{EDGE:.1f}" in course.lines[0]
    assert course.lines[0].endswith(f"V{HEIGHT / 2:.1f}H{WIDTH:.1f}")


def test_a_quality_that_was_never_measured_is_told_and_not_drawn():
    (course,) = courses(told("not supported", what="signal quality", who="interface"))

    assert (course.lines, course.gaps, course.lowest) == ((), (), "")
    assert course.first == "not supported"


def test_a_fact_in_words_is_told_with_its_times():
    (course,) = courses(told("running", "no beacon", "running", what="PLCA status"))

    assert course.changes == ((0, "running"), (SECOND, "no beacon"), (2 * SECOND, "running"))


def test_what_stayed_as_it_was_is_told_before_and_after_only():
    assert courses(told("up", "up", what="link")) == []


def test_what_moved_stands_first():
    still, moved = told("5"), told("5", "4", who="mast", what="mast.quality")

    assert [course.who for course in courses([*still, *moved])] == ["mast", "feedline"]


@given(st.lists(st.sampled_from(["", "0", "-3", "7 of 7", "not measured", "1e9", "up", "9" * 400])))
def test_whatever_is_told_the_line_stays_in_its_picture(facts):
    for course in courses(told(*facts), last=4):
        for path in (*course.lines, *course.gaps):
            assert all(0 <= each <= WIDTH for each in numbers(path))
            ups = [float(up) for up in re.findall(r"V(-?[\d.]+)", path)]
            assert all(EDGE <= up <= BOTTOM for up in ups)


def test_the_page_shows_the_line_with_its_words(tmp_path):
    page = Page(made(tmp_path, [*run("pass"), *told("6 of 7", "not measured", "2 of 7")]))

    assert "feedline quality 6 of 7 2 of 7 6 of 7 2 of 7" in page.text
    assert "nobody knows the value then, it was not zero" in page.text
    assert {"svg", "path"} <= set(page.elements)
    assert "style" not in page.attributes


def test_a_quality_that_nobody_measured_says_so_on_the_page(tmp_path):
    text = Page(made(tmp_path, [*run("pass"), *told("not measured")])).text

    assert "feedline quality not measured never measured – – not measured all the time" in text
