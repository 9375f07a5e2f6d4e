"""No heavy library is imported in the middle of a run: it would hold the bench up."""

import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.wall

ROOT = Path(__file__).parents[2]

RUN = """
import sys
from hil.files.read import read_plans, read_rack
from hil.measure.libraries import load_libraries
from hil.runner.options import Options
from hil.runner import run
loaded = set()
begin = run._sit
def sit(*given):
    loaded.update(sys.modules)
    return begin(*given)
run._sit = sit
run.run_plans(Options(plans=(sys.argv[1],), bench=sys.argv[2], virtual=True, reports=sys.argv[3]), say=lambda text: None)
heavy = {name for name in set(sys.modules) - loaded if name.split(".")[0] in ("numpy", "scipy")}
print(len([name for name in heavy if name.count(".") < 2]))
"""


def test_nothing_heavy_is_imported_while_the_measures_run(tmp_path):
    plan, bench = ROOT / "testplans" / "16-measures.yaml", ROOT / "fixtures" / "glasshouse.yaml"
    command = [sys.executable, "-c", RUN, str(plan), str(bench), str(tmp_path)]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)

    assert ended.stdout.strip() == "0", ended.stdout + ended.stderr
