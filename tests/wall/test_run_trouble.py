"""Runs in trouble: a full disk, a busy rack, a missing node, a closed terminal, a bug of ours."""

import os
import sys
import xml.etree.ElementTree as ET

import pytest
from wall.run_rack import LONG, SHORT, Rack, finish

from hil.runner.options import Options
from hil.runner.run import run_plans

pytestmark = pytest.mark.wall


@pytest.fixture
def rack(tmp_path):
    made = Rack(tmp_path, SHORT)
    yield made
    made.close()


def test_a_good_run_ends_with_zero_and_evidence(rack):
    code, out, err = finish(rack.run())

    assert code == 0, out + err
    assert "READY: 2 of 2 cases passed" in out
    assert rack.arm() == 0.0
    assert sorted(os.listdir(rack.folder / "reports" / "latest")) == [
        "about.json",
        "capture.pcapng",
        "journal.jsonl",
        "junit.xml",
        "report",
        "report.css",
        "report.html",
    ]


LIMIT = (
    sys.executable,
    "-c",
    "import os, resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (6000, 6000)); "
    "os.execv(sys.argv[1], sys.argv[1:])",
)


def test_a_full_disk_costs_evidence_and_no_verdict(rack):
    code, out, err = finish(rack.run("--repeat", "20", prefix=LIMIT))

    assert code == 5, out + err
    assert "READY: 40 of 40 cases passed" in out
    assert "journal.jsonl is not complete" in err
    assert "(File too large)" in err
    assert rack.arm() == 0.0
    folder = rack.folder / "reports" / "latest"
    assert not [name for name in os.listdir(folder) if name.endswith(".part")]


def test_a_busy_rack_says_who_holds_it_and_does_not_disturb(rack):
    (rack.folder / "long.yaml").write_text(
        LONG.replace("during: 2 s to 10 s", "during: 20 ms to 6 s")
    )
    first = rack.hil("run", "long.yaml", "--bench", "bench.yaml")
    rack.wait_for_arm(45)
    code, out, err = finish(rack.run())

    assert code == 3
    assert "rack plain is busy: run " in err
    assert f"process {first.pid} on " in err
    code, out, err = finish(first)
    assert code == 0, out + err


@pytest.mark.parametrize("environment", [("XDG_RUNTIME_DIR=/nowhere",), ("-u", "XDG_RUNTIME_DIR")])
def test_a_rack_is_busy_under_another_title_and_in_another_environment(rack, environment):
    text = (rack.folder / "bench.yaml").read_text()
    (rack.folder / "other.yaml").write_text(text.replace("bench: plain", "bench: other"))
    (rack.folder / "long.yaml").write_text(LONG)
    first = rack.hil("run", "long.yaml", "--bench", "bench.yaml")
    rack.wait_for_arm(45)
    prefix = ("env", *environment, f"TMPDIR={rack.folder}")
    code, _, err = finish(
        rack.hil("run", "plan.yaml", "--bench", "other.yaml", "--reports", "other", prefix=prefix)
    )

    assert code == 3
    assert f"rack other is busy: run {rack.run_name()}, process {first.pid} on " in err
    assert rack.arm() == 45.0


def test_a_missing_node_is_found_before_anything_moves(rack):
    rack.node.kill()
    rack.node.wait()
    code, out, _ = finish(rack.run())

    assert code == 3
    assert "nothing was moved, not every node is ready: gauge: no reading from" in out
    assert not [line for line in rack.journal() if line["event"] == "command"]
    cases = ET.parse(rack.folder / "reports/latest/junit.xml").findall("*/testcase")
    assert [case[0].get("type") for case in cases] == ["not run", "not run"]
    assert "nothing was moved" in cases[0][0].get("message")


def test_a_bench_file_for_an_interface_that_is_not_there(rack):
    bench = rack.folder / "bench.yaml"
    bench.write_text(bench.read_text().replace("interface: lo", "interface: spe9"))
    code, _, err = finish(rack.run())

    assert code == 3
    assert "this computer has no interface spe9" in err


def test_a_reader_that_goes_away_does_not_stop_the_run(rack):
    run = rack.run("--repeat", "5")
    assert run.stdout.readline() == "10 cases on plain\n"
    run.stdout.close()
    run.wait(30)

    assert rack.arm() == 0.0
    assert {"outcome": "pass", "safe": True}.items() <= rack.journal()[-1].items()
    assert run.returncode == 0


class _Broken:
    """A watcher with a bug, standing for any bug of ours in the middle of a run."""

    def __call__(self, event):
        if event.kind == "case-ended":
            raise RuntimeError("broken on purpose")


def test_a_bug_of_ours_is_told_and_leaves_the_rack_safe(rack, monkeypatch):
    monkeypatch.chdir(rack.folder)
    finished = run_plans(
        Options(plans=("plan.yaml",), bench="bench.yaml"), watch=_Broken(), say=print
    )

    assert finished.code == 4
    assert "RuntimeError: broken on purpose" in finished.crash
    assert rack.arm() == 0.0
    assert finished.junit is not None
    assert rack.needs_repair()
