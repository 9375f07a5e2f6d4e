"""The software rack as a process of its own, and a whole exchange with it over real sockets."""

import dataclasses
import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from bench.small import Silent, ms, rack

from hil.bench.child import Child
from hil.bench.loop import drive
from hil.bench.rig import open_wall
from hil.bench.software import SoftwareProcess
from hil.core.error import BenchError
from hil.core.event import Datagram
from hil.core.instant import Duration, Instant
from hil.core.observation import Samples
from hil.files.read import read_rack
from hil.wire.link import Links
from hil.wire.rack import Address

pytestmark = pytest.mark.wall

VICTIM = str(Path(__file__).parent / "bench_victim.py")
GLASSHOUSE = Path(__file__).parent.parent.parent / "fixtures" / "glasshouse.yaml"


@pytest.fixture
def glasshouse():
    """The demo rack, at ports nobody else has."""
    described = read_rack(str(GLASSHOUSE))
    taken = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in described.nodes]
    for held in taken:
        held.bind(("127.0.0.1", 0))
    nodes = [
        dataclasses.replace(node, address=Address(*held.getsockname()))
        for node, held in zip(described.nodes, taken, strict=True)
    ]
    for held in taken:
        held.close()
    return dataclasses.replace(described, nodes=tuple(nodes), late_bound=Duration(ms(5_000)))


class Listener(Silent):
    """An engine that is done when it has heard of every node, or when its time is over."""

    def __init__(self, nodes, deadline):
        super().__init__(lambda: self.nodes == self.heard or self.over)
        self.nodes, self.heard = set(nodes), set()
        self.deadline, self.over = deadline, False

    def receive(self, seen, now, /):
        if isinstance(seen, Samples):
            self.heard.add(seen.node)

    def next_wakeup(self):
        return self.deadline

    def tick(self, now):
        self.over = now >= self.deadline


def hear_all(described, seconds=5):
    """Return which nodes were heard, and what was recorded."""
    bench = open_wall(described)
    start = bench.now()
    engine = Listener([node.name for node in described.nodes], Instant(start + ms(1_000 * seconds)))
    recorded = []
    drive(engine, Links(described, start), bench, recorded.append, origin=start)
    bench.close()
    return engine.heard, recorded


def alive(pid):
    return Path(f"/proc/{pid}").exists()


def test_every_node_is_heard_over_real_sockets_and_it_ends_when_told(glasshouse):
    software = SoftwareProcess(glasshouse)
    heard, recorded = hear_all(glasshouse)
    code = software.stop()

    assert heard == {node.name for node in glasshouse.nodes}
    assert {"in", "out"} == {event.way for event in recorded if isinstance(event, Datagram)}
    assert all(0 <= event.at < ms(5_000) for event in recorded)
    assert code == 0


def test_signals_of_the_terminal_do_not_end_it(glasshouse):
    software = SoftwareProcess(glasshouse)
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        os.kill(software.pid, number)
    heard, _ = hear_all(glasshouse)

    assert os.getsid(software.pid) == software.pid
    assert heard == {node.name for node in glasshouse.nodes}
    assert software.stop() == 0


def test_without_a_runner_it_lives_on_for_the_guard_and_ends_by_itself(glasshouse):
    software = SoftwareProcess(glasshouse, grace=Duration(ms(700)))
    software.hang_up()  # as when the runner is gone
    heard, _ = hear_all(glasshouse)
    code = software.leave()

    assert heard == {node.name for node in glasshouse.nodes}
    assert code == 0


def test_an_address_that_is_taken_is_said_in_a_sentence(glasshouse):
    first = glasshouse.nodes[0]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(tuple(first.address))

        with pytest.raises(BenchError, match=f"{first.name} cannot have {first.address}: address"):
            SoftwareProcess(glasshouse)


def test_a_rack_without_a_software_model_is_said_in_a_sentence():
    with pytest.raises(BenchError, match=r"did not start: .*has no `software` to stand in for it"):
        SoftwareProcess(rack(Address("127.0.0.1", 47_999)))


def test_its_own_stamps_are_written_down(glasshouse, tmp_path):
    file = tmp_path / "stamps"
    software = SoftwareProcess(glasshouse, stamps=str(file))
    hear_all(glasshouse)
    software.stop()

    lines = [line.split() for line in file.read_text().splitlines()]
    assert {str(node.address) for node in glasshouse.nodes} == {source for _, source, _ in lines}
    assert [int(at) for at, _, _ in lines] == sorted(int(at) for at, _, _ in lines)


def test_a_rack_that_nobody_serves_is_refused_node_by_node(glasshouse):
    # nobody listens on the whole rack: port unreachable from every node, long before any time-out.
    class Refusals(Listener):
        def receive(self, seen, now, /):
            if getattr(seen, "trouble", None) is not None:
                self.heard.add(seen.node)

    bench = open_wall(glasshouse)
    start = bench.now()
    asked = [node.name for node in glasshouse.nodes if node.listen or node.poll]
    engine = Refusals(asked, Instant(start + ms(3_000)))
    drive(engine, Links(glasshouse, start), bench, lambda event: None, origin=start)
    took = bench.now() - start
    bench.close()

    assert engine.heard == set(asked)
    assert took < ms(2_000)


def test_served_on_its_own_it_ends_at_a_signal(glasshouse, tmp_path):
    text = GLASSHOUSE.read_text(encoding="utf-8")
    for described, moved in zip(read_rack(str(GLASSHOUSE)).nodes, glasshouse.nodes, strict=True):
        text = text.replace(str(described.address), str(moved.address))
    file = tmp_path / "moved.yaml"
    file.write_text(text, encoding="utf-8")
    process = subprocess.Popen(
        [sys.executable, VICTIM, "nodes", str(file)], stdout=subprocess.PIPE, text=True
    )
    ready = process.stdout.readline()
    heard, _ = hear_all(glasshouse)
    process.send_signal(signal.SIGTERM)
    out, _ = process.communicate(timeout=10)

    assert ready == "serving\n"
    assert heard == {node.name for node in glasshouse.nodes}
    assert out == f"ended by {signal.SIGTERM.value}\n"
    assert process.returncode == 0


def test_a_child_that_says_nothing_is_not_waited_for_for_ever():
    with pytest.raises(BenchError, match=r"the sleeper did not start: no answer within 0\.2 s"):
        Child("the sleeper", ["sleep", "60"], b"", seconds=0.2)
    with pytest.raises(BenchError, match="the nobody could not be started"):
        Child("the nobody", ["/nowhere/nobody"], b"", seconds=0.2)
    with pytest.raises(BenchError, match="the loser did not start: lost its way"):
        Child("the loser", ["sh", "-c", "echo lost its way >&2; exit 1"], b"", seconds=5)
