"""The readiness sheet: each node with who it is, what was proven, the result, and lines to sign."""

from report.long_run import long_run
from report.page_run import Page, gathered, journalled
from report.runs import ABOUT, run

from hil.core.event import NodeConfirmed, NodeIdentified, NodeNoted
from hil.core.instant import Instant
from hil.report.page.sheet import ROLES, node_lines, write_sheet
from hil.report.tally import fold

AT = Instant(3)
LOUVRES = NodeIdentified(at=AT, node="louvres", serial="GH-0104", firmware="1.4.2", boots=7)


def line(events, name="louvres"):
    lines = node_lines(fold(events), gathered(events))
    return next(one for one in lines if one.name == name)


def test_a_node_has_its_identity_what_was_proven_and_its_worst_margin():
    one = line([LOUVRES, *run("pass", "pass")])

    assert (one.serial, one.firmware) == ("GH-0104", "1.4.2")
    assert one.plans == (("Louvres", 2),)
    assert (one.cases, one.checks) == (2, 2)
    assert one.outcome.word == "pass"
    assert (one.margin, one.closest) == (0.4, "louvres.vane-2.position")
    assert one.cautions == ()


def test_a_node_that_failed_says_so():
    one = line([LOUVRES, *run("pass", "fail")])

    assert one.outcome.word == "fail"
    assert one.cautions == ("1 case: fail",)


def test_a_node_that_nothing_was_proven_of_is_there_and_not_proven():
    one = line(list(long_run(4, 0)), "mast")

    assert (one.outcome, one.checks, one.plans) == (None, 0, ())
    assert one.serial == "GH-0103"


def test_what_was_odd_is_a_caution():
    note = NodeNoted(at=AT, node="louvres", trouble="duplicate", text="reading 4 came twice")

    assert "duplicate, once" in line([LOUVRES, *run("pass"), note]).cautions


def test_a_device_that_was_changed_in_the_middle_is_a_caution():
    later = NodeConfirmed(
        at=AT, node="louvres", why="case", facts=(("serial", "GH-0199"),), asked=1, took=5
    )
    one = line([LOUVRES, *run("pass"), later])

    assert one.serial == "GH-0104, then GH-0199"
    assert "another serial or firmware in the middle of the run" in one.cautions


def test_the_sheet_says_the_verdict_and_has_lines_to_sign_without_a_name(tmp_path):
    result = journalled(tmp_path, long_run(40, 2))
    page = Page(write_sheet(tmp_path, result, ABOUT))

    assert "NOT READY" in page.text
    for role in ROLES:
        assert role in page.text
    assert "script" not in page.elements
    assert "style" not in page.attributes


def test_a_sheet_names_every_node_of_the_bench_file(tmp_path):
    result = journalled(tmp_path, long_run(4, 0))
    text = Page(write_sheet(tmp_path, result, ABOUT)).text

    for node in ("feedline", "cistern", "mast", "louvres", "console", "tile", "beacon"):
        assert node in text
    assert text.count("not proven") == 9
