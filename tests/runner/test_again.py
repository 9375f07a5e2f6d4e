"""Recorded runs judged again: the same plans give the same verdicts, other tolerances new ones."""

import pytest

from hil.core.error import DescriptionError
from hil.core.event import CheckDecided
from hil.report.journal import JournalReader
from hil.runner.again.again import judge_again
from hil.runner.options import Options
from hil.runner.run import run_plans

PLAN = """\
plan: Again
cases:
  - case: pressure is shown and the light is red
    precondition: {beacon.lamp: green}
    steps:
      - stimulus: {feedline.pressure: 4.8 bar}
        expect:
          - {signal: beacon.lamp, value: red, within: 150 ms, hold: 100 ms}
          - {signal: console.feed-reading, value: 4.8 bar, tolerance: 0.1 bar, within: 200 ms}
      - stimulus: {feedline.pressure: 2.4 bar}
        expect: [{signal: beacon.lamp, value: green, within: 300 ms}]
  - case: a vane reaches its angle
    steps:
      - stimulus: {louvres.vane-1.angle: 30 deg}
        expect: [{signal: louvres.vane-1.position, value: 30 deg, tolerance: 1.5 deg, within: 600 ms, hold: 100 ms}]
"""


@pytest.fixture
def recorded(tmp_path):
    plan = tmp_path / "plan.yaml"
    plan.write_text(PLAN)
    options = Options(plans=(str(plan),), virtual=True, reports=str(tmp_path / "reports"))
    finished = run_plans(options, say=lambda text: None)
    assert finished.code == 0
    return finished.folder, plan


def again(recorded, text=PLAN):
    folder, plan = recorded
    plan.write_text(text)
    return judge_again(folder, (), "", folder.parent, ("hil", "judge"))


def checks(folder):
    return [
        (e.index, e.step, e.signal, e.outcome, e.got, e.elapsed, e.margin, e.text)
        for e in JournalReader(folder / "journal.jsonl")
        if isinstance(e, CheckDecided)
    ]


def outcomes(judged):
    return [case.outcome.word for case in judged.result.cases]


def test_the_same_plans_give_the_same_verdicts_check_by_check(recorded):
    judged = again(recorded)

    assert outcomes(judged) == ["pass", "pass"]
    assert checks(judged.folder) == checks(recorded[0])


def test_what_was_judged_again_can_be_judged_once_more(recorded):
    once = again(recorded)
    twice = judge_again(once.folder, (), "", once.folder.parent, ())

    assert checks(twice.folder) == checks(recorded[0])


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        ("tolerance: 1.5 deg", "tolerance: 5 deg", ["pass", "pass"]),
        (
            "value: 4.8 bar, tolerance: 0.1 bar, within: 200 ms",
            "value: 9 bar, tolerance: 0.1 bar, within: 20 ms",
            ["fail", "pass"],
        ),
        (
            "tolerance: 1.5 deg, within: 600 ms",
            "tolerance: 1.5 deg, within: 20 ms",
            ["pass", "fail"],
        ),
        (
            "value: red, within: 150 ms, hold: 100 ms",
            "value: red, within: 150 ms, hold: 2 s",
            ["inconclusive", "pass"],
        ),
    ],
)
def test_a_changed_plan_gives_new_verdicts(recorded, old, new, wanted):
    assert old in PLAN

    assert outcomes(again(recorded, PLAN.replace(old, new))) == wanted


def test_a_case_that_the_plan_no_longer_has_is_skipped(recorded):
    judged = again(recorded, PLAN.replace("a vane reaches", "the vane reaches"))

    assert outcomes(judged) == ["pass", "skipped"]


def test_the_evidence_says_what_it_was_judged_from(recorded):
    judged = again(recorded)
    (note,) = [note for note in judged.result.host_notes if note.trouble == "judged again"]

    assert recorded[0].name in note.text and "nothing was driven" in note.text


def test_a_folder_without_a_journal_is_refused(tmp_path):
    (tmp_path / "journal.jsonl").write_text("")

    with pytest.raises(DescriptionError, match="cannot be judged again"):
        judge_again(tmp_path, (), "", tmp_path, ())
