"""Reading a plan of 10,000 cases with positions and full checks, against plain yaml.load."""

import tempfile
from pathlib import Path

import yaml
from benchmarks.measure import Figure, median_pair, show_time

from hil.files.read import read_plans, read_rack

CASES = 10_000
ROOT = Path(__file__).parent.parent.parent
BENCH = ROOT / "fixtures" / "glasshouse.yaml"


def plan_text(cases: int = CASES) -> str:
    """Make a plan as people write it: six lines a case, values that differ."""
    lines = ["plan: Ten thousand pressures", "cases:"]
    for number in range(cases):
        tenths = 30 + number % 60
        lines += [
            f"  - case: pressure step {number} shows on the console",
            f"    requirement: GH-{number % 90:02d}",
            "    steps:",
            f"      - stimulus: {{feedline.pressure: {tenths / 10:.1f} bar}}",
            "        expect:",
            f"          - {{signal: feedline.pressure, value: {tenths / 10:.1f} bar, "
            "tolerance: 0.1 bar, within: 300 ms}",
        ]
    return "\n".join(lines) + "\n"


def figures() -> list[Figure]:
    rack = read_rack(BENCH)
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "plan.yaml"
        file.write_text(plan_text(), encoding="utf-8")
        text = file.read_text(encoding="utf-8")
        ours, plain = median_pair(
            lambda: read_plans([file], rack),
            lambda: yaml.load(text, Loader=yaml.CSafeLoader),
            rounds=5,
        )
    return [
        Figure(
            what="reading a plan of 10,000 cases, against yaml.load in C",
            value=show_time(ours),
            floor=show_time(plain),
            ratio=ours / plain,
            limit=1.0,
        )
    ]
