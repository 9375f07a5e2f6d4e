"""Progress: a line per case, and a bar that is drawn between cases only."""

import doctest
import io

import pytest
from report.runs import run

import hil.cli.progress
from hil.cli.progress import LiveProgress, PlainProgress


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


@pytest.mark.parametrize("module", [hil.cli.progress])
def test_the_examples_in_the_text_are_true(module):
    failed, tried = doctest.testmod(module)

    assert tried
    assert not failed
