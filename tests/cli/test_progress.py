"""Progress: a line per case, and a bar that is drawn between cases only."""

import dataclasses
import io
import re

import pytest
from core.paper import case, is_red, ms, step
from report.runs import begun, ended, run, started
from rich.cells import cell_len

from hil.cli.progress import LiveProgress, PlainProgress, case_line
from hil.core.event import OperatorAnswered, OperatorAsked
from hil.core.instant import Instant
from hil.report.line import crop, text_of

LONG = case(step({}, [is_red(during=(ms(0), ms(3000)))]))


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self):
        return True


def played(progress, *outcomes):
    for event in run(*outcomes):
        progress(event)
    progress.close()


def test_plain_progress_is_one_line_per_case():
    stream = io.StringIO()
    played(PlainProgress(stream), "pass", "fail")
    lines = stream.getvalue().splitlines()

    assert [
        lines[0],
        *(w.split()[0] for w in lines[1:]),
    ] == ["2 cases on glasshouse", "pass", "fail"]
    assert lines[1].endswith("case 0  160 ms")


def test_live_progress_tells_counts_and_names_what_went_wrong():
    stream = Terminal()
    played(LiveProgress(stream), "pass", "fail", "pass")
    text = stream.getvalue()

    assert "0 of 3" in text
    assert "3 of 3" in text
    assert "fail" in text
    assert "case 1" in text


def test_nothing_is_drawn_while_a_step_is_judged():
    stream = Terminal()
    progress = LiveProgress(stream)
    events = run("pass")
    progress(events[0])
    before = stream.getvalue()
    for event in events:
        if event.kind in ("check", "command", "actuator-safe"):
            progress(event)

    assert before == stream.getvalue()
    progress.close()


def test_a_skipped_case_says_why():
    stream = io.StringIO()
    played_with = [*run("skipped", reason="no barometer on this rack")]
    progress = PlainProgress(stream)
    for event in played_with:
        progress(event)

    assert stream.getvalue().splitlines()[1].endswith("case 0  no barometer on this rack")


@pytest.mark.parametrize(
    ("outcome", "colour"),
    [("fail", "1;31"), ("error", "1;31"), ("inconclusive", "33")],
)
def test_each_word_has_the_colour_it_has_in_the_summary(outcome, colour):
    stream = Terminal()
    played(LiveProgress(stream), outcome)

    assert f"\x1b[{colour}m{outcome}" in stream.getvalue()
    assert "\x1b[33mVanes" not in stream.getvalue()


@pytest.mark.parametrize("columns", [60, 80, 100, 140])
def test_a_long_title_is_cropped_at_the_edge_of_the_window(columns, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(columns))
    stream = Terminal()
    progress = LiveProgress(stream)
    title = "a vane reaches its angle, not too early and not too late " * 3
    for event in [started(title), begun(0, title), ended(0, title, "fail", took=2_000_000)]:
        progress(event)
    progress.close()
    lines = re.sub("\x1b\\[[0-9;?]*[A-Za-z]", "\n", stream.getvalue()).split("\n")
    shown = [line for line in lines if line.strip()]

    assert all(cell_len(line.strip("\r")) <= columns for line in shown)
    assert any(line.startswith("a vane") or "…" in line for line in shown)
    assert any(line.rstrip().endswith("…  2 ms") or line.strip() == "2 ms" for line in shown)


def test_a_cropped_line_keeps_the_values_that_tell_it_apart():
    title = "a vane reaches its angle, not too early and not too late [vane-1, 30 deg]"
    line = crop(case_line(ended(0, title, "fail")), 70)

    assert text_of(line).endswith("… [vane-1, 30 deg]  160 ms")


def test_the_time_left_is_known_before_the_first_case_is_over():
    stream = Terminal()
    progress = LiveProgress(stream)
    progress.foresee([LONG] * 10)
    for event in run(*["pass"] * 10)[:2]:
        progress(
            dataclasses.replace(event, virtual=False) if event.kind == "run-started" else event
        )

    assert "about 30 s left" in stream.getvalue()
    progress.close()


def test_the_bar_makes_way_while_somebody_is_asked_something():
    stream = Terminal()
    progress = LiveProgress(stream)
    asked, answered = questions()
    progress(started("case 0", "case 1"))
    progress(begun(0, "case 0"))
    progress(asked)
    before = stream.getvalue()
    progress(begun(1, "case 1"))
    during = stream.getvalue()
    progress(answered)
    after = stream.getvalue()
    progress.close()

    assert before.endswith("\x1b[2K")  # it has erased itself
    assert during == before
    assert "0 of 2" in after[len(during) :]


def test_the_bar_stays_where_the_bench_answers_for_itself():
    stream = Terminal()
    progress = LiveProgress(stream)
    asked, answered = questions(stand_in="mast.light 0 lx", by="bench")
    progress(started("case 0"))
    before = stream.getvalue()
    progress(asked)
    progress(answered)

    assert stream.getvalue() == before
    progress.close()


def questions(stand_in="", by="person"):
    told = {"index": 0, "step": 1, "what": "act", "text": "cover the light sensor"}
    return (
        OperatorAsked(at=Instant(0), within=1, stand_in=stand_in, place="feed.yaml:3:1", **told),
        OperatorAnswered(at=Instant(1), answer="yes", by=by, took=1, **told),
    )
