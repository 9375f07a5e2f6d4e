"""The demo as its plans judge it: all of it passes, and one changed threshold is noticed."""

from pathlib import Path

import pytest

from hil.runner.options import Options
from hil.runner.run import run_plans

ROOT = Path(__file__).parent.parent.parent
BENCH = ROOT / "fixtures" / "glasshouse.yaml"


def run(bench: Path, reports: Path):
    options = Options(
        plans=(str(ROOT / "testplans"),), bench=str(bench), virtual=True, reports=str(reports)
    )
    return run_plans(options, say=lambda text: None)


def changed(folder: Path, setting: str, value: str) -> Path:
    """Copy the bench file with another value of one setting of the software nodes."""
    lines = BENCH.read_text(encoding="utf-8").splitlines()
    (place,) = [i for i, line in enumerate(lines) if line.startswith(f"    {setting}:")]
    lines[place] = f"    {setting}: {value}"
    copy = folder / "glasshouse.yaml"
    copy.write_text("\n".join(lines), encoding="utf-8")
    return copy


def failed(finished) -> set[str]:
    return {case.title for case in finished.result.cases if case.outcome.word == "fail"}


def test_every_case_of_the_demo_passes_and_every_actuator_is_safe(tmp_path):
    finished = run(BENCH, tmp_path)

    assert finished.code == 0
    assert len(finished.result.cases) >= 60
    assert failed(finished) == set()


@pytest.mark.parametrize(
    ("setting", "value", "notice"),
    [
        (
            "feed-red",
            "4.60 bar",
            {
                "the head unit works with the trip points of the specification",
                "red begins at exactly 4.50 bar",
                "red ends at exactly 4.35 bar",
                "amber and red of the feed pressure come where the spec says",
            },
        ),
        ("lamps-off", "700 lx", {"the lamps go off at 600 lx"}),
        (
            "level-low",
            "28.0 %",
            {"the edge of the low band is at 25 %, and it takes 2 % to come back"},
        ),
        ("sun-step", "3 deg", {"the vanes ignore a sun that has hardly moved"}),
    ],
)
def test_one_changed_threshold_is_noticed_by_exactly_its_cases(tmp_path, setting, value, notice):
    finished = run(changed(tmp_path, setting, value), tmp_path / "reports")

    assert finished.code == 1
    assert failed(finished) == notice


def test_twice_the_same_run_is_the_same_journal(tmp_path):
    one, other = (run(BENCH, tmp_path / name).folder / "journal.jsonl" for name in "ab")

    assert one.read_bytes() == other.read_bytes()
