"""The relay as a process before a node that nobody here wrote (plain_node.py)."""

import json
import re
import select
import socket
import subprocess
import sys
import time
from dataclasses import replace
from decimal import Decimal

import pytest
from bench.small import rack as small_rack
from wall.plain_node import NODE, READ, READING, REQUEST, sealed
from wall.ports import free_port, free_ports
from wall.run_rack import SHORT, Rack, finish
from wall.spaces import ROOT

from hil.bench.relay import RelayProcess, behind
from hil.core.error import BenchError
from hil.core.instant import MILLISECOND, SECOND, Duration
from hil.wire.disturbance import Disturbance, RelayScript, Way
from hil.wire.rack import Address

pytestmark = pytest.mark.wall

ASK = sealed(REQUEST, 0x21, NODE, 77, READ, 0)


@pytest.fixture
def plain(tmp_path):
    made = []

    def go(*options, plan=SHORT):
        made.append(Rack(tmp_path, plan, *options))
        return made[-1]

    yield go
    for one in made:
        one.close()


@pytest.fixture
def relay(plain):
    """Put a relay before the plain node; return it and a socket connected to its front."""
    opened = []

    def go(*script, grace=SECOND):
        node = Address("127.0.0.1", plain().port)
        front = Address("127.0.0.1", free_port())
        rack = small_rack(front)
        rack = replace(rack, relay=RelayScript(seed=1, script=script, behind={"n1": node}))
        process = RelayProcess(rack, behind(rack), Duration(grace))
        asker = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        asker.connect(tuple(front))
        opened.extend([process.stop, asker.close])
        return process, asker

    yield go
    for close in opened:
        close()


def ask(asker, patience=0.4):
    """Ask for a reading; return what came back and after how many seconds each."""
    began = time.monotonic()
    asker.send(ASK)
    heard = []
    while select.select([asker], [], [], max(0, began + patience - time.monotonic()))[0]:
        heard.append((asker.recv(65_535), time.monotonic() - began))
    return heard


def test_calm_it_passes_everything_in_both_ways(relay):
    _, asker = relay(Disturbance(loss=Decimal(1)))

    assert [len(payload) for payload, _ in ask(asker)] == [12, READING.size]


def test_a_delay_is_imposed_on_each_way(relay):
    process, asker = relay(Disturbance(delay=Duration(60 * MILLISECOND)))
    process.disturb()
    heard = ask(asker, patience=1.0)

    assert len(heard) == 2
    assert all(0.12 <= took < 0.5 for _, took in heard)


def test_loss_duplication_and_truncation(relay):
    process, asker = relay(Disturbance(loss=Decimal(1)))
    process.disturb()
    assert ask(asker) == []

    process.disturb([Disturbance(ways=(Way.FROM_NODE,), duplicate=Decimal(1))])
    assert len(ask(asker)) == 4

    process.disturb([Disturbance(ways=(Way.FROM_NODE,), truncate=Decimal(1))])
    cut, also_cut = ask(asker)
    assert len(cut[0]) < 12 and len(also_cut[0]) < READING.size

    process.calm()
    assert len(ask(asker)) == 2


def test_two_askers_get_their_own_answers(relay):
    _, asker = relay()
    other = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    other.connect(asker.getpeername())

    assert [len(ask(other)), len(ask(asker)), len(ask(other))] == [2, 2, 2]
    other.close()


def test_it_calms_down_and_ends_by_itself_when_its_pipe_closes(relay):
    process, asker = relay(Disturbance(loss=Decimal(1)), grace=SECOND // 2)
    process.disturb()
    assert ask(asker) == []

    process.hang_up()
    assert len(ask(asker, patience=0.3)) == 2
    assert process.leave(5.0) == 0


def test_an_address_that_is_taken_is_a_sentence(relay, plain):
    _, asker = relay()
    front = Address(*asker.getpeername())
    rack = replace(
        small_rack(front),
        relay=RelayScript(seed=1, script=(), behind={"n1": Address("127.0.0.1", 9)}),
    )

    with pytest.raises(BenchError, match=r"the relay cannot have 127\.0\.0\.1:\d+ of n1: address"):
        RelayProcess(rack, behind(rack))


def test_a_node_that_is_nowhere_is_a_sentence():
    rack = replace(small_rack(Address("127.0.0.1", 9)), relay=RelayScript(seed=1, script=()))

    with pytest.raises(BenchError, match="does not know where n1 really is"):
        behind(rack)


def relayed(rack, script):
    """Let the bench file of a plain rack name a relay before its node."""
    file = rack.folder / "bench.yaml"
    text = re.sub(
        r"address: 127\.0\.0\.1:\d+", f"address: 127.0.0.1:{free_port()}", file.read_text()
    )
    text += f"relay: {{script: [{script}], behind: {{gauge: '127.0.0.1:{rack.port}'}}}}\n"
    file.write_text(text)


def test_a_run_through_a_relay_leaves_the_arm_safe_whatever_is_lost(plain):
    rack = plain()
    relayed(rack, "{node: gauge, loss: 100 %}")
    code, out, err = finish(rack.run())

    # nothing comes through while a case is on, and the safe commands do at the end
    assert code == 3, out + err
    assert rack.arm() == 0.0
    assert "a relay stands before the nodes" in err
    assert '"confirmed":true' in (rack.folder / "reports" / "latest" / "journal.jsonl").read_text()


def test_a_run_through_a_slow_line_passes_what_has_the_time(plain):
    rack = plain()
    relayed(rack, "{delay: 15 ms, duplicate: 20 %}")
    code, out, err = finish(rack.run())

    assert code == 0, out + err
    elapsed = [each["elapsed"] for each in rack.journal() if each["event"] == "check"]
    assert all(each >= 15 * MILLISECOND for each in elapsed)


GROUPED = """\
plan: P
cases:
  - case: the pressure is followed
    steps:
      - disturb: [{node: feedline, way: from-node, delay: 60 ms}]
      - stimulus: {feedline.pressure: 4.8 bar}
        expect: [{signal: feedline.pressure, value: 4.8 bar, tolerance: 0.1 bar, within: 2 s}]
      - stimulus: {circulator.duty: 20 %}
        expect: [{signal: circulator.duty, value: 20 %, within: 2 s}]
"""


def test_what_a_node_tells_a_group_passes_the_relay_too(tmp_path):
    text = (ROOT / "fixtures" / "annexe.yaml").read_text("utf-8")
    ports = free_ports(3)
    for old, new in zip(("47921", "47925", "47927"), ports, strict=True):
        text = text.replace(f"127.0.0.1:{old}", f"127.0.0.1:{new}")
    text = text.replace("239.255.20.2", "239.255.33.2").replace("within: 50 ms", "within: 500 ms")
    text = text.replace("\nsoftware:\n", "\nrelay: {script: []}\n\nsoftware:\n")
    (tmp_path / "bench.yaml").write_text(text, "utf-8")
    (tmp_path / "plan.yaml").write_text(GROUPED)
    words = [sys.executable, "-m", "hil", "run", "plan.yaml", "--bench", "bench.yaml"]
    ended = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, timeout=40)

    assert ended.returncode == 0, ended.stdout + ended.stderr
    journal = (tmp_path / "reports" / "latest" / "journal.jsonl").read_text("utf-8")
    lines = [json.loads(line) for line in journal.splitlines()]
    took = {line["signal"]: line["elapsed"] for line in lines if line["event"] == "check"}
    assert took["feedline.pressure"] >= 60 * MILLISECOND > took["circulator.duty"]
    told = [line for line in lines if line["event"] == "datagram" and line["node"] == "feedline"]
    assert any(line["way"] == "in" and line["hex"].startswith("31") for line in told)


def test_no_relay_outlives_its_run(plain):
    rack = plain()
    relayed(rack, "{delay: 1 ms}")
    finish(rack.run())
    front = re.search(r"address: 127\.0\.0\.1:(\d+)", (rack.folder / "bench.yaml").read_text())

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as again:
        again.bind(("127.0.0.1", int(front[1])))  # nobody has it any more
