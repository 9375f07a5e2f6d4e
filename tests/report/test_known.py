"""Known faults: what counts as one, what does not, and how every mark stood."""

import xml.etree.ElementTree as ET

import pytest
from history.nights import mark
from report.runs import ABOUT, MISSED, begun, check, ended, over, started
from report.schemas import ant_faults, jenkins_faults

from hil.core.verdict import Outcome
from hil.report.exit_code import exit_code
from hil.report.junit import write_junit
from hil.report.line import plain
from hil.report.summary import readiness, summarise
from hil.report.tally import fold

DAY = "2026-10-01"


def failed(*marks, reasons=(MISSED,), blamed=(), day=DAY, title="a", **more):
    """Fold a run of a passing case and one whose check failed: 42.10 deg, wanted 45 deg."""
    events = [started(title, "b"), *marks, begun(0, title), check(0, "fail", **more)]
    events.append(ended(0, title, "fail", *reasons, blamed=blamed))
    events += [begun(1, "b"), check(1, "pass"), ended(1, "b", "pass")]
    return fold([*events, *over()], day)


def outcome(*marks, **more):
    return failed(*marks, **more).cases[0].outcome


def test_the_fault_as_it_is_written_down_is_known():
    assert outcome(mark()) is Outcome.KNOWN
    assert outcome() is Outcome.FAIL


@pytest.mark.parametrize(
    "more",
    [
        {"plan": "Lamps"},
        {"case": "A"},
        {"case": "a vane"},
        {"signal": "louvres.vane-1.position"},
        {"step": 2},
        {"measure": "settle"},
        {"low": "42.2"},
        {"high": "42"},
        {"unit": "rad"},
        {"low": "", "high": "", "values": ("42.1 deg",)},
        {"earliest": 700_000_000, "latest": 800_000_000},
        {"until": "2026-09-30"},
    ],
)
def test_anything_else_stays_a_failure(more):
    assert outcome(mark(**more)) is Outcome.FAIL


@pytest.mark.parametrize(
    "more",
    [
        {"step": 1},
        {"low": "42.1", "high": "42.1"},
        {"low": "42", "high": ""},
        {"low": "", "high": "", "values": ("42.10 deg", "nothing")},
        {"low": "", "high": "", "earliest": 500_000_000, "latest": 700_000_000},
        {"until": DAY},
    ],
)
def test_every_way_to_write_it_down_counts(more):
    assert outcome(mark(**more)) is Outcome.KNOWN


@pytest.mark.parametrize(
    "facts",
    [
        {"got": "nothing"},
        {"got": "sensor fault (sentinel 0x7fff)"},
        {"got": "NaN deg"},
        {"outcome": "inconclusive"},
        {"reasons": (MISSED, "louvres rebooted")},
        {"blamed": ("louvres",)},
        {"day": None},
        {"day": "2027-03-02"},
    ],
)
def test_a_failure_for_another_reason_stays_one(facts):
    more = dict(facts)
    word = more.pop("outcome", "fail")
    if word == "fail":
        assert outcome(mark(), **more) is Outcome.FAIL
    else:
        events = [started("a"), mark(), begun(0, "a"), check(0, word), ended(0, "a", word, MISSED)]
        assert fold(events, DAY).cases[0].outcome is Outcome.INCONCLUSIVE


def test_a_case_with_another_failed_check_stays_a_failure():
    events = [started("a"), mark(), begun(0, "a"), check(0, "fail")]
    other = check(0, "fail", signal="beacon.lamp", text="the lamp was green")
    events += [other, ended(0, "a", "fail", MISSED, other.text)]

    assert fold(events, DAY).cases[0].outcome is Outcome.FAIL


def test_a_measure_fits_by_its_whole_interval():
    figures = (("settle", 310e6, 315e6, 320e6, "ns"),)
    inside = mark(measure="settle", low="300000000", high="330000000", unit="ns")
    across = mark(measure="settle", low="300000000", high="315000000", unit="ns")

    assert outcome(inside, figures=figures) is Outcome.KNOWN
    assert outcome(across, figures=figures) is Outcome.FAIL


def test_a_repeated_case_is_the_same_case():
    assert outcome(mark(), title="a (2)") is Outcome.KNOWN
    assert outcome(mark(), title="a (of two)") is Outcome.FAIL


def test_a_case_that_passes_at_a_second_attempt_is_unstable():
    events = [started("a"), mark(), begun(0, "a"), check(0, "fail"), ended(0, "a", "fail", MISSED)]
    events += [begun(0, "a", 2), check(0, "pass"), ended(0, "a", "pass", attempt=2)]

    assert fold(events, DAY).cases[0].outcome is Outcome.UNSTABLE


def standing(*events, day=DAY, **more):
    (one,) = fold([started("a"), mark(**more), *events], day).known
    return one


def test_a_mark_says_how_it_stood():
    bad, good = check(0, "fail"), check(0, "pass", got="45.00 deg")
    other = check(0, "fail", got="30.00 deg")

    assert standing(begun(0, "a"), bad).remark == ""
    assert "passed; mended? take the mark out" in standing(begun(0, "a"), good).remark
    assert "is not what failed" in standing(begun(0, "a"), other).remark
    assert "last day was 2026-09-30" in standing(begun(0, "a"), bad, until="2026-09-30").remark
    assert standing().remark == standing(until="2026-09-30").remark == ""


def test_a_known_fault_is_seen_and_no_failure(tmp_path):
    found = failed(mark())
    text = plain(summarise(found))

    assert exit_code(found) == 0
    assert readiness(found) == "READY: 1 of 2 cases passed, 1 known fault"
    assert "known fault K-17, until 2027-03-01: vane 2 stops short: a worn gear, ordered" in text
    assert MISSED in text


def test_nothing_but_known_faults_is_not_ready():
    events = [started("a"), mark(), begun(0, "a"), check(0, "fail"), ended(0, "a", "fail", MISSED)]
    found = fold([*events, *over()], DAY)

    assert readiness(found) == "NOT READY: 1 of 1 failed as known, none passed"
    assert exit_code(found) == 2  # nothing was proven


def test_a_known_fault_is_skipped_in_junit_with_its_reason(tmp_path):
    path = write_junit(tmp_path, failed(mark(), mark(fault="other", case="b")), ABOUT)
    document = path.read_bytes()
    assert ant_faults(document) == jenkins_faults(document) == []
    suite = ET.parse(path).getroot()[0]
    case = suite.find("testcase")

    assert (suite.get("failures"), suite.get("skipped"), suite.get("tests")) == ("0", "1", "2")
    assert case[0].tag == "skipped"
    assert case[0].get("message").startswith("known fault K-17, until 2027-03-01: vane 2")
    assert "other (K-17) was not seen" in suite.findtext("system-err")
