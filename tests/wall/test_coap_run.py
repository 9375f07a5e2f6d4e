"""Plans on CoAP nodes over UDP: the seed bench's software nodes, and two programs of others.

The nodes that nobody here wrote are aiocoap's server (PyPI) and libcoap's coap-server (Debian,
package libcoap3-bin); a bench file written here describes them as it would a board on the desk.
"""

import contextlib
import json
import os
import re
import select
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from wall.coap_board import BENCH, PLAN
from wall.marks import forget
from wall.ports import free_ports

pytestmark = pytest.mark.wall

ROOT = Path(__file__).parents[2]
BOARD = Path(__file__).parent / "coap_board.py"


def hil(folder, *words):
    done = subprocess.run(
        [sys.executable, "-m", "hil", *words],
        cwd=folder,
        env=os.environ | {"PYTHONWARNINGS": "error"},
        capture_output=True,
        text=True,
        timeout=60,
    )
    return done.returncode, done.stdout + done.stderr


def events(folder, *kinds):
    journal = folder / "reports" / "latest" / "journal.jsonl"
    lines = [json.loads(line) for line in journal.read_text(encoding="utf-8").splitlines()]
    return [line for line in lines if line["event"] in kinds]


def outcomes(folder):
    return {event["case"]: event["outcome"] for event in events(folder, "case-ended")}


@pytest.fixture
def port():
    (port,) = free_ports(1)
    forget([port])
    yield port
    forget([port])


def test_the_plan_of_the_seed_bench_passes_over_udp(tmp_path):
    text = (ROOT / "fixtures" / "propagator.yaml").read_text(encoding="utf-8")
    used = free_ports(2)
    for old, new in zip(("47931", "47932"), used, strict=True):
        text = text.replace(old, str(new))
    (tmp_path / "bench.yaml").write_text(text, encoding="utf-8")
    plan = str(ROOT / "testplans" / "propagator.yaml")
    code, told = hil(tmp_path, "run", plan, "--bench", "bench.yaml", "--tag", "smoke")
    found = outcomes(tmp_path)
    hil(tmp_path, "run", plan, "--bench", "bench.yaml", "--tag", "smoke", "--virtual")
    forget(used)

    assert code == 0, told
    assert "READY: 10 of 10 cases passed" in told
    assert "safe: all 10 driven signals are back" in told
    assert found == outcomes(tmp_path)


def test_a_board_of_another_library_is_judged(tmp_path, port):
    long = " ".join(f"{number:04d}" for number in range(400))  # 1999 octets: two blocks
    (tmp_path / "bench.yaml").write_text(BENCH.replace("@port", str(port)))
    (tmp_path / "plan.yaml").write_text(PLAN.replace("@long", long))
    board = subprocess.Popen(
        [sys.executable, str(BOARD), str(port)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    try:
        assert board.stdout.readline() == b"ready\n"
        code, told = hil(tmp_path, "run", "plan.yaml", "--bench", "bench.yaml")
    finally:
        board.stdin.close()
        board.wait(10)
        board.stdout.close()
    refused = [e for e in events(tmp_path, "command") if e["state"] == "refused"]

    assert code == 1, told
    assert outcomes(tmp_path) == {
        "the climate follows the set point": "pass",
        "heat turns the lamp red": "pass",
        "what is out of its range is refused": "fail",
        "a long text goes block by block": "pass",
        "a wrong expectation": "fail",
    }
    assert refused[0]["detail"] == "4.00 Bad Request: 0 to 50"
    assert not events(tmp_path, "node-note")
    assert "safe: all 2 driven signals are back" in told


LIBCOAP_BENCH = """\
bench: desk
interface: lo
host: 127.0.0.1
nodes:
  desk:
    number: 1
    address: 127.0.0.1:@port
    answer-within: 1 s
    coap: {observe: yes, renew: 500 ms}
    signals:
      number:            # holds a long text until the first number is put
        unit: count
        range: -1000 count to 1000 count
        coap: {path: example_data}
        drive: {safe: 0 count, actuator: no}
      clock:
        text: yes
        coap: {path: time}
      about:
        text: yes
        coap: {path: "", observe: no}
      lamp:              # is not there until it is put
        labels: {0: off, 1: on}
        coap: {path: dyn/lamp}
        drive: {safe: off}
      nothing:
        text: yes
        coap: {path: no/such/thing, observe: no, poll: 200 ms}
"""

LIBCOAP_PLAN = """\
plan: Desk
cases:
  - case: what is put is told to observers
    vary: {number: [-12.5 count, 0.001 count, 1000 count]}
    steps:
      - stimulus: {desk.number: "${number}"}
        expect: [{signal: desk.number, value: "${number}", within: 300 ms}]
  - case: a clock is told each second
    steps:
      - expect: [{signal: desk.clock, not: "", during: 1200 ms}]
  - case: a text of several lines is read
    steps:
      - expect: [{signal: desk.about, not: "", within: 1 s}]
  - case: a resource that is made by a command
    steps:
      - stimulus: {desk.lamp: "on"}
        expect: [{signal: desk.lamp, value: "on", within: 1 s}]
  - case: what is not there is no reading
    steps:
      - expect: [{signal: desk.nothing, invalid: yes, within: 500 ms}]
  - case: a wrong expectation
    steps:
      - stimulus: {desk.number: 7 count}
        expect: [{signal: desk.number, value: 70 count, within: 300 ms}]
"""

SERVER = shutil.which("coap-server-notls") or shutil.which("coap-server")


@pytest.mark.skipif(SERVER is None, reason="coap-server of libcoap3-bin is not installed")
def test_the_server_of_libcoap_is_judged(tmp_path, port):
    (tmp_path / "bench.yaml").write_text(LIBCOAP_BENCH.replace("@port", str(port)))
    (tmp_path / "plan.yaml").write_text(LIBCOAP_PLAN)
    server = subprocess.Popen(
        [SERVER, "-A", "127.0.0.1", "-p", str(port), "-d", "10"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        code, told = hil(tmp_path, "run", "plan.yaml", "--bench", "bench.yaml")
    finally:
        server.terminate()
        server.wait(10)
    notes = [(event["trouble"], event["text"]) for event in events(tmp_path, "node-note")]
    found = outcomes(tmp_path)

    assert code == 1, told
    assert {title for title, outcome in found.items() if outcome != "pass"} == {
        "a wrong expectation"
    }
    assert len(found) >= 6
    assert ("request refused", "/no/such/thing: 4.04 Not Found: Not Found") in notes
    assert "10 times too small" in told
    assert "safe: all 2 driven signals are back" in told


def test_a_run_that_is_killed_leaves_the_nodes_safe(tmp_path, port):
    (tmp_path / "bench.yaml").write_text(BENCH.replace("@port", str(port)))
    (tmp_path / "plan.yaml").write_text(
        "plan: Long\ncases:\n  - case: warm\n    steps:\n"
        "      - stimulus: {board.setpoint: 40 degC}\n"
        "        expect: [{signal: board.temperature, value: 40 degC, during: 1 s to 20 s}]\n"
    )
    board = subprocess.Popen(
        [sys.executable, str(BOARD), str(port)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    run = None
    try:
        assert board.stdout.readline() == b"ready\n"
        run = subprocess.Popen(
            [sys.executable, "-m", "hil", "run", "plan.yaml", "--bench", "bench.yaml"],
            cwd=tmp_path,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        assert celsius(port, 40.0)
        run.kill()
        run.wait(10)
        assert celsius(port, 21.5), "the guard did not drive it safe"
    finally:
        if run is not None and run.poll() is None:
            run.kill()
            run.wait(10)
        board.stdin.close()
        board.wait(10)
        board.stdout.close()


def celsius(port, wanted):
    """Ask the board itself, with plain octets, until it is at a set point; give up after 15 s.

    Where one of its clients has just died an answer of it may be missing, so it is asked again.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        asked.settimeout(0.2)
        began, number = time.monotonic(), 0
        while time.monotonic() - began < 15:
            number += 1
            # GET /setpoint: version 1, non-confirmable, a token of one octet (RFC 7252 §3)
            octets = bytes((0x51, 1, number >> 8 & 255, number & 255, number & 255))
            asked.sendto(octets + b"\xb8setpoint", ("127.0.0.1", port))
            with contextlib.suppress(TimeoutError):
                found = re.search(rb'"celsius": ([0-9.]+)', asked.recv(2000))
                if found and float(found[1]) == wanted:
                    return True
            select.select([], [], [], 0.02)  # between two looks
    return False
