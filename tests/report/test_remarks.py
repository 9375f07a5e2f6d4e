"""What a summary says beside its tables."""

import pytest
from report.runs import result, started

from hil.core.event import NodeNoted, RunEnded
from hil.core.instant import Instant
from hil.report.line import text_of
from hil.report.remarks import note_lines, stop_lines
from hil.report.tally import fold

AT = Instant(0)


def noted(node, trouble, text):
    return NodeNoted(at=AT, node=node, trouble=trouble, text=text)


def refused(*texts, notes=()):
    aborted = "nothing was moved, not every node is ready: " + "; ".join(texts)
    end = RunEnded(at=AT, outcome="not run", counts={}, aborted=aborted, safe=True)
    return fold([started("a case"), *notes, end])


def said(lines):
    return [text_of(line) for line in lines]


def test_nodes_that_are_not_there_have_a_line_each():
    closed = "no reading within 3 s; last heard of it: port 47801 is closed"
    notes = [noted("feedline", "absent", closed), noted("mast", "absent", closed)]
    found = refused(f"feedline: {closed}", f"mast: {closed}", notes=notes)

    assert said(stop_lines(found)) == [
        "nothing was moved, not every node is ready:",
        f"    feedline: {closed}",
        f"    mast: {closed}",
    ]
    assert said(note_lines(found)) == []  # told above


def test_one_node_stays_in_its_sentence():
    found = refused("mast: silent", notes=[noted("mast", "absent", "silent")])

    assert said(stop_lines(found)) == ["nothing was moved, not every node is ready: mast: silent"]


def test_a_run_that_went_to_its_end_says_nothing_of_it():
    assert stop_lines(result("pass")) == []


@pytest.mark.parametrize(
    ("notes", "told"),
    [
        (["boot count 2, was 1"], "mast: 1 × reboot: boot count 2, was 1"),
        (["boot count 2, was 1", "boot count 3, was 2"], "mast: 2 × reboot, first: boot count 2, was 1"),
        ([""], "mast: 1 × reboot"),
    ],
)  # fmt: skip
def test_trouble_is_counted_and_the_first_is_told(notes, told):
    found = fold([started("a case"), *(noted("mast", "reboot", text) for text in notes)])

    assert said(note_lines(found)) == [told, ""]
