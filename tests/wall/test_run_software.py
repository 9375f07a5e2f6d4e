"""Runs on the demo's software nodes as a process: killed, served by hand, two verdicts alike."""

import os
import re
import select
import signal
import socket
import subprocess
import sys

import pytest
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


def free_bases(count):
    """Return ports that were free a moment ago."""
    made = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(count)]
    for one in made:
        one.bind(("127.0.0.1", 0))
    ports = [one.getsockname()[1] for one in made]
    for one in made:
        one.close()
    return ports


@pytest.fixture
def hil(tmp_path, request):
    text = (request.config.rootpath / "fixtures" / "glasshouse.yaml").read_text(encoding="utf-8")
    old = sorted(set(re.findall(r"127\.0\.0\.1:(\d+)", text)))
    for port, other in zip(old, free_bases(len(old)), strict=True):
        text = text.replace(f"127.0.0.1:{port}", f"127.0.0.1:@{other}")
    (tmp_path / "bench.yaml").write_text(text.replace(":@", ":"), encoding="utf-8")
    (tmp_path / "plan.yaml").write_text(PLAN)
    started = []

    def go(*words):
        process = subprocess.Popen(
            [sys.executable, "-m", "hil", *words],
            cwd=tmp_path,
            env=os.environ | {"XDG_RUNTIME_DIR": str(tmp_path), "PYTHONWARNINGS": "error"},
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


def run(hil, *words):
    return hil("run", "plan.yaml", "--bench", "bench.yaml", *words)


def test_wall_and_virtual_time_give_the_same_verdicts(hil):
    wall, virtual = (finish(run(hil, "--only", "red", *more)) for more in ((), ("--virtual",)))

    assert (wall[0], virtual[0]) == (0, 0), wall[1] + wall[2] + virtual[1]


def test_a_run_after_a_killed_one_waits_for_its_nodes_and_repairs(hil):
    killed = run(hil, "--tag", "long")
    assert killed.stdout.readline() == "1 case on glasshouse\n"
    select.select([], [], [], 1.0)  # until the vane is on its way
    killed.kill()
    killed.wait()
    code, out, err = finish(run(hil, "--only", "red"))

    assert code == 0, out + err
    assert "the last run did not leave the rack safe (run " in err
    assert "its guard sent 42 safe commands, 42 were answered" in err


def test_nodes_are_served_until_ctrl_c(hil):
    nodes = hil("nodes", "--bench", "bench.yaml")
    while nodes.stdout.readline() != "serving until Ctrl-C\n":
        assert nodes.poll() is None, nodes.stderr.read()
    code, _, err = finish(run(hil, "--only", "red"))
    nodes.send_signal(signal.SIGINT)

    assert finish(nodes)[0] == 0
    assert code == 3
    assert "`hil nodes` in another terminal is one such" in err
