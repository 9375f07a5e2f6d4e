"""The measures of the demo: a rack that got worse is noticed by the measure that watches it."""

from pathlib import Path

import pytest
from runner.test_demo import changed

from hil.runner.options import Options
from hil.runner.run import run_plans

ROOT = Path(__file__).parent.parent.parent
PLAN = ROOT / "testplans" / "16-measures.yaml"


def verdicts(bench: Path, reports: Path) -> dict[str, str]:
    options = Options(plans=(str(PLAN),), bench=str(bench), virtual=True, reports=str(reports))
    finished = run_plans(options, say=lambda text: None)
    return {
        case.title: case.outcome.word
        for case in finished.result.cases
        if case.outcome.word != "pass"
    }


VANES = "a vane settles without overshoot and nothing else moves"


@pytest.mark.parametrize(
    ("setting", "value", "noticed", "word"),
    [
        ("vane-lag", "150 ms", VANES, "fail"),
        (
            "decision-time",
            "60 ms",
            "over-pressure reddens the beacon in time, a hundred times",
            "fail",
        ),
        # 1450 rpm lies within 1500 ± 60, but not beyond the doubt of the tachometer
        ("fan-full-speed", "2894 rpm", "the fan's speed is right beyond doubt", "inconclusive"),
        (
            "slowest-answer",
            "40 ms",
            "the circulator's clock runs true, and its answers are not slow",
            "fail",
        ),
    ],
)
def test_a_rack_that_got_worse_is_noticed(tmp_path, setting, value, noticed, word):
    found = verdicts(changed(tmp_path, setting, value), tmp_path / "reports")

    assert word in {verdict for title, verdict in found.items() if title.startswith(noticed)}, found
