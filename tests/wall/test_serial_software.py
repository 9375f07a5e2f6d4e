"""The software doser at the end of a pseudo-terminal, in wall time."""

import re
import select
import subprocess
import sys
from pathlib import Path

import pytest
from wall.lines import events, journal

pytestmark = pytest.mark.wall

ROOT = Path(__file__).parent.parent.parent


@pytest.fixture
def bench(tmp_path):
    """A doser of this test's own: another adapter, so that nobody else has its lock."""
    text = (ROOT / "fixtures" / "doser.yaml").read_text(encoding="utf-8")
    text = text.replace("serial: DS-0201}", f"serial: DS-{tmp_path.name[-24:]}}}")
    (tmp_path / "doser.yaml").write_text(text, encoding="utf-8")
    return tmp_path


def hil(folder, *words):
    return subprocess.Popen(
        [sys.executable, "-m", "hil", *words],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def run(folder, *words):
    plan = ROOT / "testplans" / "doser.yaml"
    process = hil(folder, "run", "--bench", "doser.yaml", *words, str(plan))
    return process.communicate(timeout=60)[0], process.returncode


def test_the_doser_passes_on_a_real_line(bench):
    out, code = run(bench)
    lines = journal(bench)
    log = (bench / "reports" / "latest" / "console-doser.log").read_text(encoding="utf-8")

    assert code == 0, out
    assert "READY: 8 of 8 cases passed" in out
    assert log.count("\n") == len(events(lines, "console-line"))
    assert next(note["trouble"] for note in events(lines, "node-note")) == "console opened"


def test_nodes_that_somebody_serves_are_found_again(bench):
    lonely, code = run(bench, "--served", "--only", "clogged")
    assert code == 3
    assert "nobody serves the console of doser" in lonely

    nodes = hil(bench, "nodes", "--bench", "doser.yaml")
    try:
        assert select.select([nodes.stdout], [], [], 20)[0]
        while "serving" not in nodes.stdout.readline():
            pass
        for _ in range(2):
            out, code = run(bench, "--served", "--only", "clogged")
            assert code == 0, out
    finally:
        nodes.terminate()
        nodes.communicate()


def test_a_run_that_is_killed_leaves_the_doser_safe(bench):
    (bench / "plan.yaml").write_text(
        "plan: Long\ncases:\n  - case: it doses for long\n    steps:\n"
        "      - stimulus: {doser.valve: open, doser.rate: 50 mL/min}\n"
        "        expect: [{signal: doser.rate, value: 50 mL/min, during: 1 s to 30 s}]\n"
    )
    process = hil(bench, "run", "--bench", "doser.yaml", "plan.yaml")
    path = bench / "reports" / "latest" / "journal.jsonl"
    while not (path.exists() and '"text":"ok rate=500"' in path.read_text()):
        assert process.poll() is None
        select.select((), (), (), 0.02)
    process.kill()
    process.communicate()
    out, code = run(bench, "--only", "clogged")

    assert code == 0, out
    assert re.search(r"its guard sent 5 safe commands, 5 were answered", out)
