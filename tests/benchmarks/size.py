"""10,000 cases in one virtual run against 100: memory and time per case.

Each run is a process of its own, so that its largest memory is its own: the kernel's VmHWM, for
ru_maxrss begins with that of the process which started it.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks.measure import Figure, show_time
from benchmarks.reading import BENCH, plan_text

CHILD = r"""
import json, re, sys, time
from pathlib import Path
from hil.runner.options import Options
from hil.runner.run import run_plans
stamps = []
options = Options(plans=(sys.argv[1],), bench=sys.argv[2], virtual=True, reports=sys.argv[3])
finished = run_plans(options, watch=lambda event: stamps.append(time.perf_counter())
                     if event.kind == "case-ended" else None, say=lambda text: None)
assert finished.code == 0, finished.code
peak = int(re.search(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text())[1]) / 1024
print(json.dumps([(stamps[-1] - stamps[0]) / (len(stamps) - 1), peak]))
"""


def run(folder: Path, cases: int) -> tuple[float, float]:
    """Return seconds per case and the largest memory in MB."""
    plan = folder / f"{cases}.yaml"
    plan.write_text(plan_text(cases), encoding="utf-8")
    ended = subprocess.run(
        [sys.executable, "-c", CHILD, plan, BENCH, folder / f"reports-{cases}"],
        capture_output=True,
        text=True,
        check=True,
    )
    each, peak = json.loads(ended.stdout.splitlines()[-1])
    return each, peak


def figures() -> list[Figure]:
    with tempfile.TemporaryDirectory() as name:
        few = min((run(Path(name) / str(i), 100) for i in _folders(name, 3)), key=lambda r: r[0])
        many = run(Path(name), 10_000)
    grown = many[1] - few[1]
    return [
        Figure(
            what="memory of 10,000 cases beyond that of 100",
            value=f"{grown:.0f} MB",
            floor="100 MB",
            ratio=grown / 100,
            limit=1.0,
        ),
        Figure(
            what="time per case, 10,000 cases against 100",
            value=show_time(many[0]),
            floor=show_time(few[0]),
            ratio=many[0] / few[0],
            limit=1.2,
        ),
    ]


def _folders(name: str, count: int) -> range:
    for number in range(count):
        (Path(name) / str(number)).mkdir()
    return range(count)
