"""Runs on the demo's software nodes as a process: killed, served by hand, two verdicts alike."""

import json
import os
import re
import select
import signal
import subprocess
import sys
import time

import pytest
from wall.marks import forget
from wall.ports import free_ports
from wall.run_rack import finish

pytestmark = pytest.mark.wall

PLAN = """\
plan: A first look
cases:
  - case: over-pressure turns the stack light red
    steps:
      - stimulus: {feedline.pressure: 9.0 bar}
        expect: [{signal: beacon.lamp, value: red, within: 1 s}]
  - case: a vane stays where it is put
    tags: [long]
    steps:
      - stimulus: {louvres.vane-2.angle: 30 deg}
        expect: [{signal: louvres.vane-2.position, value: 30 deg, tolerance: 2 deg, during: 2 s to 10 s}]
"""


@pytest.fixture
def hil(tmp_path, request):
    text = (request.config.rootpath / "fixtures" / "glasshouse.yaml").read_text(encoding="utf-8")
    old = sorted(set(re.findall(r"127\.0\.0\.1:(\d+)", text)))
    used = free_ports(len(old))
    forget(used)
    for port, other in zip(old, used, strict=True):
        text = text.replace(f"127.0.0.1:{port}", f"127.0.0.1:@{other}")
    (tmp_path / "bench.yaml").write_text(text.replace(":@", ":"), encoding="utf-8")
    (tmp_path / "plan.yaml").write_text(PLAN)
    started = []

    def go(*words):
        process = subprocess.Popen(
            [sys.executable, "-m", "hil", *words],
            cwd=tmp_path,
            env=os.environ | {"PYTHONWARNINGS": "error"},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        started.append(process)
        return process

    yield go
    for process in reversed(started):
        if process.poll() is None:
            process.kill()
        process.communicate()
    forget(used)


def run(hil, *words):
    return hil("run", "plan.yaml", "--bench", "bench.yaml", *words)


VERDICTS = """\
plan: Verdicts
cases:
  - case: a good one
    steps:
      - stimulus: {feedline.pressure: 9.0 bar}
        expect: [{signal: beacon.lamp, value: red, within: 1 s}]
  - case: a wrong value
    steps:
      - stimulus: {feedline.pressure: 9.0 bar}
        expect: [{signal: beacon.lamp, value: blue, within: 1 s}]
  - case: a precondition that nobody meets
    precondition: [{signal: beacon.lamp, value: blue, within: 300 ms}]
    steps:
      - stimulus: {feedline.pressure: 9.0 bar}
        expect: [{signal: beacon.lamp, value: red, within: 1 s}]
  - case: a skipped one
    skip: it is away
    steps:
      - stimulus: {feedline.pressure: 9.0 bar}
        expect: [{signal: beacon.lamp, value: red, within: 1 s}]
  - case: something moves that must not
    steps:
      - stimulus: {louvres.vane-2.angle: 30 deg}
        expect: [{signal: louvres.vane-2.position, unchanged: yes, tolerance: 1 deg, during: 500 ms}]
"""


def verdicts(folder):
    """Return (title, verdict, verdicts of its checks) of every case in a journal."""
    lines = [json.loads(line) for line in (folder / "journal.jsonl").read_text().splitlines()]
    checks = [(line["index"], line["outcome"]) for line in lines if line["event"] == "check"]
    return [
        (line["case"], line["outcome"], [word for at, word in checks if at == line["index"]])
        for line in lines
        if line["event"] == "case-ended"
    ]


def test_wall_and_virtual_time_give_the_same_verdicts_case_by_case(hil, tmp_path):
    (tmp_path / "plan.yaml").write_text(VERDICTS)
    found = []
    for more in ((), ("--virtual",)):
        _, out, err = finish(run(hil, "--reports", "here", *more))
        assert (tmp_path / "here" / "latest").exists(), out + err
        found.append(verdicts(tmp_path / "here" / "latest"))
    wall, virtual = found

    assert [outcome for _, outcome, _ in virtual] == [
        *("pass", "fail", "inconclusive", "skipped", "fail")
    ]
    assert wall == virtual


FIRST = """\
plan: First
cases:
  - case: without a precondition
    steps:
      - stimulus: {feedline.pressure: 4.8 bar}
        expect: [{signal: beacon.lamp, value: red, within: 150 ms}]
"""


def test_the_first_case_finds_a_rack_that_is_ready(hil, tmp_path):
    (tmp_path / "plan.yaml").write_text(FIRST)
    code, out, err = finish(run(hil))

    assert code == 0, out + err


def wait_for_line(folder, part):
    """Wait until the journal of the latest run has a line with this part."""
    journal = folder / "reports" / "latest" / "journal.jsonl"
    began = time.monotonic()
    while not journal.exists() or part not in journal.read_text():
        assert time.monotonic() - began < 20, f"the journal never said {part}"
        select.select([], [], [], 0.01)  # between two looks


def test_a_run_after_a_killed_one_waits_for_its_nodes_and_repairs(hil, tmp_path):
    killed = run(hil, "--tag", "long")
    assert killed.stdout.readline() == "1 case on glasshouse\n"
    wait_for_line(tmp_path, '"signal":"louvres.vane-')
    killed.kill()
    killed.wait()
    code, out, err = finish(run(hil, "--only", "red"))

    assert code == 0, out + err
    assert "the last run did not leave the rack safe (run " in err
    assert re.search(r"its guard sent (\d\d) safe commands, \1 were answered", err), err


@pytest.fixture
def served(hil):
    """Serve the bench's nodes in another process."""
    nodes = hil("nodes", "--bench", "bench.yaml")
    while nodes.stdout.readline() != "serving until Ctrl-C\n":
        assert nodes.poll() is None, nodes.stderr.read()
    yield nodes
    nodes.send_signal(signal.SIGINT)
    assert finish(nodes)[0] == 0


def test_a_run_beside_served_nodes_says_what_to_do(hil, served):
    code, _, err = finish(run(hil, "--only", "red"))

    assert code == 3
    assert "address already in use" in err
    assert "if that is `hil nodes` in another terminal, `--served` uses its nodes" in err


def test_a_run_may_use_served_nodes_and_does_not_end_them(hil, served):
    code, out, err = finish(run(hil, "--only", "red", "--served"))

    assert code == 0, out + err
    assert served.poll() is None


def test_served_nodes_that_are_not_there_are_missed(hil):
    code, out, _ = finish(run(hil, "--only", "red", "--served"))

    assert code == 3
    assert "nothing was moved, not every node is ready" in out


def test_a_host_that_is_not_the_interfaces_is_told_as_such(hil, tmp_path):
    bench = tmp_path / "bench.yaml"
    bench.write_text(bench.read_text().replace("host: 127.0.0.1", "host: 192.0.2.10", 1))
    code, _, err = finish(run(hil, "--only", "red"))

    assert code == 3
    assert "192.0.2.10 is not an address of interface lo" in err
    assert "hil nodes" not in err


def test_a_node_at_an_address_of_another_computer_gets_no_hint_about_served_nodes(hil, tmp_path):
    bench = tmp_path / "bench.yaml"
    text = bench.read_text()
    first = re.search(r"127\.0\.0\.1:\d+", text).group()
    bench.write_text(text.replace(first, "192.0.2.10:47801"))
    code, _, err = finish(run(hil, "--only", "red"))

    assert code == 3
    assert "192.0.2.10" in err
    assert "hil nodes" not in err
