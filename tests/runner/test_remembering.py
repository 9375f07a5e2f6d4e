"""Runs that are kept: a virtual rack, night after night, with known faults and with trouble."""

import json

import pytest

from hil.history.place import place_of
from hil.history.runs import newest
from hil.history.shelf import Shelf
from hil.report.rebuild import rebuild
from hil.runner.options import Options
from hil.runner.run import run_plans

PLAN = """\
plan: A first look
cases:
  - case: over-pressure turns the stack light red
    steps:
      - stimulus: {feedline.pressure: 9.0 bar}
        expect: [{signal: beacon.lamp, value: red, within: 500 ms}]
  - case: the feed line shows what it has
    steps:
      - stimulus: {feedline.pressure: 3.0 bar}
        expect: [{signal: feedline.pressure, value: 3.0 bar, tolerance: 0.1 bar, within: 900 ms, hold: 400 ms}]
"""
WRONG = PLAN.replace("value: 3.0 bar, tolerance", "value: 3.3 bar, tolerance")
KNOWN = """\
known-faults: A first look
faults:
  - fault: the feed line reads too low
    reason: on purpose
    reference: K-1
    plan: A first look
    case: the feed line shows what it has
    signal: feedline.pressure
    value: 290 kPa to 3.1 bar
    until: {until}
"""


@pytest.fixture
def run(tmp_path, request):
    def go(plan=PLAN, known="", **options):
        (tmp_path / "plan.yaml").write_text(plan)
        (tmp_path / "known.yaml").write_text(known)
        said = []
        given = {
            "plans": (str(tmp_path / "plan.yaml"),),
            "bench": str(request.config.rootpath / "fixtures/glasshouse.yaml"),
            "virtual": True,
            "reports": str(tmp_path / "reports"),
            "history": str(tmp_path / "reports" / "history.sqlite"),
            "known": str(tmp_path / "known.yaml") if known else "",
        }
        finished = run_plans(Options(**(given | options)), say=said.append)
        return finished, said

    return go


def kept(tmp_path):
    shelf = Shelf(place_of(str(tmp_path / "reports" / "history.sqlite")))
    with shelf.reading() as connection:
        runs = newest(connection, 9)
    shelf.close()
    return runs


def test_a_run_is_kept_and_what_changed_is_said(run, tmp_path):
    first, _ = run()
    second, _ = run(WRONG)
    (newer, older) = kept(tmp_path)

    assert (first.changed, first.faults) == ("", ())
    assert second.changed == "glasshouse:virtual: 1 newly broken"
    assert (older.name, older.passed, older.failed) == (first.folder.name, 2, 0)
    assert (newer.name, newer.passed, newer.failed) == (second.folder.name, 1, 1)


def test_a_history_that_cannot_be_written_is_told_and_costs_no_verdict(run, tmp_path):
    (tmp_path / "letter").write_text("not a database " * 99)
    finished, _ = run(history=str(tmp_path / "letter"))

    assert finished.code == 5
    assert "is no history: another file has this name" in finished.faults[0]
    assert finished.result.safe
    assert {case.outcome.word for case in finished.result.cases} == {"pass"}
    assert finished.junit is not None


def test_a_known_fault_is_known_in_every_report(run, tmp_path):
    finished, said = run(WRONG, KNOWN.format(until="2999-12-31"))
    before = finished.junit.read_bytes()
    lines = (finished.folder / "journal.jsonl").read_text().splitlines()
    ended = [json.loads(line) for line in lines if '"event":"case-ended"' in line]

    assert (finished.code, said) == (0, [])
    assert [case.outcome.word for case in finished.result.cases] == ["pass", "known"]
    assert [one["outcome"] for one in ended] == ["pass", "fail"]  # the run itself knows no marks
    assert rebuild(finished.folder).junit.read_bytes() == before
    assert kept(tmp_path)[0].known == 1


def test_a_known_fault_that_is_over_is_a_failure(run):
    finished, _ = run(WRONG, KNOWN.format(until="2020-01-01"))

    assert finished.code == 1
    assert "counts no longer: its last day was 2020-01-01" in finished.result.known[0].remark


def test_a_mark_with_a_slip_is_told_and_covers_nothing(run):
    slip = KNOWN.format(until="2999-12-31").replace("shows what it has", "shows what it had")
    finished, said = run(WRONG, slip)

    assert finished.code == 1
    assert "has no case `the feed line shows what it had`" in said[0]


def test_marks_leave_two_virtual_runs_the_same(run):
    marks = KNOWN.format(until="2999-12-31")
    first, second = (run(WRONG, marks)[0].folder / "journal.jsonl" for _ in range(2))

    assert first.read_bytes() == second.read_bytes()
