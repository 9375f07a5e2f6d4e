"""The seed bench as its plan judges it: all of it passes, and one changed threshold is noticed."""

from pathlib import Path

import pytest

from hil.core.event import read_all
from hil.runner.options import Options
from hil.runner.run import run_plans

ROOT = Path(__file__).parent.parent.parent
BENCH = ROOT / "fixtures" / "propagator.yaml"
PLAN = ROOT / "testplans" / "propagator.yaml"


def run(reports, bench=BENCH, plans=(PLAN,)):
    options = Options(
        plans=tuple(map(str, plans)), bench=str(bench), virtual=True, reports=str(reports)
    )
    return run_plans(options, say=lambda text: None)


def changed(folder, old, new):
    """Copy the bench file with one place of it changed."""
    text = BENCH.read_text(encoding="utf-8")
    assert text.count(old) == 1
    copy = folder / "propagator.yaml"
    copy.write_text(text.replace(old, new), encoding="utf-8")
    return copy


def failed(finished):
    return {case.title for case in finished.result.cases if case.outcome.word == "fail"}


def test_every_case_passes_and_every_actuator_is_safe(tmp_path):
    finished = run(tmp_path)

    assert finished.code == 0
    assert {case.outcome.word for case in finished.result.cases} == {"pass"}
    assert len(finished.result.cases) >= 15


@pytest.mark.parametrize(
    ("old", "new", "notice"),
    [
        (
            "mat-on-below: 20.0 degC",
            "mat-on-below: 19.7 degC",
            {"cold soil switches the mat on, warm soil switches it off"},
        ),
        (
            "mat-on-below: 20.0 degC",
            "mat-on-below: 20.3 degC",
            {"inside the dead band the mat stays as it is"},
        ),
        (
            "vent-opens-above: 28.0 degC",
            "vent-opens-above: 28.5 degC",
            {"hot air opens the vent, cool air closes it"},
        ),
        (
            "vent-closes-below: 26.0 degC",
            "vent-closes-below: 26.5 degC",
            {"inside its dead band the vent stays as it is"},
        ),
    ],
)
def test_one_changed_threshold_is_noticed_by_exactly_its_cases(tmp_path, old, new, notice):
    finished = run(tmp_path / "reports", changed(tmp_path, old, new))

    assert finished.code == 1
    assert failed(finished) == notice


def test_twice_the_same_run_is_the_same_journal(tmp_path):
    one, other = (run(tmp_path / name).folder / "journal.jsonl" for name in "ab")

    assert one.read_bytes() == other.read_bytes()


def test_another_node_at_the_address_ends_the_run_before_anything_moves(tmp_path):
    text = BENCH.read_text(encoding="utf-8")
    rack = tmp_path / "propagator.yaml"
    rack.write_text(text.replace("  settings:", "  settings:\n    firmware: 1.1.9"))
    finished = run(tmp_path / "reports", rack)
    events = list(read_all((finished.folder / "journal.jsonl").read_text().splitlines()))

    assert finished.code == 3
    assert not [event for event in events if event.kind == "command"]
    assert "firmware is 1.1.9, wanted >= 1.2" in " ".join(
        event.text for event in events if event.kind == "node-note"
    )


BROKEN = """\
plan: Broken
cases:
  - case: ten times too warm
    steps:
      - stimulus: {bed.soil: 3 degC}
        expect: [{signal: bed.soil, value: 30 degC, tolerance: 0.5 degC, within: 300 ms}]
  - case: an unplanned restart
    steps:
      - stimulus: {hood.power: restart}
        expect: [{signal: hood.power, value: run, within: 3 s}]
"""


def test_a_failed_check_says_what_the_value_looks_like_and_a_reboot_fails(tmp_path):
    plan = tmp_path / "broken.yaml"
    plan.write_text(BROKEN)
    finished = run(tmp_path / "reports", plans=(plan,))
    reasons = {case.title: " ".join(case.reasons) for case in finished.result.cases}

    assert failed(finished) == {"ten times too warm", "an unplanned restart"}
    assert "10 times too small" in reasons["ten times too warm"]
    assert "hood rebooted" in reasons["an unplanned restart"]
    assert "boot count 2, was 1" in reasons["an unplanned restart"]
