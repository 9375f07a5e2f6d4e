"""Killed outright: the lock dies with its holder, and the guard makes the rack safe."""

import json
import os
import select
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from wall.marks import at, forget

from hil.bench.guarding import Guard, SafeDatagram
from hil.bench.lock import RackLock
from hil.bench.mark import needs_repair
from hil.core.error import BenchError, BusyError
from hil.wire.link import Packet
from hil.wire.rack import Address

pytestmark = pytest.mark.wall

VICTIM = str(Path(__file__).parent / "bench_victim.py")
WHOLE_GUARD_SECONDS = 10


@pytest.fixture
def actuators():
    """Two nodes of one plain socket each."""
    made = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(2)]
    for node in made:
        node.bind(("127.0.0.1", 0))
        node.settimeout(WHOLE_GUARD_SECONDS)
    used = [node.getsockname()[1] for node in made]
    forget(used)
    yield made
    forget(used)
    for node in made:
        node.close()


def ports(actuators):
    return [str(node.getsockname()[1]) for node in actuators]


@pytest.fixture
def hold():
    """Start a process that holds a rack with a guard on duty; end both afterwards, by id."""
    started = []

    def begin(run, *ports):
        process = subprocess.Popen(
            [sys.executable, VICTIM, "hold", run, *ports],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        started.append(process)
        word, guard = process.stdout.readline().split()
        assert word == "held"
        return process, int(guard)

    yield begin
    for process in started:
        process.kill()
        process.wait()
        process.stdin.close()
        process.stdout.close()


def take_when_free(run, *ports):
    """Take a rack as a run does: wait for a guard at work."""
    return RackLock.acquire("rack", map(at, ports), run)


def left_at(*ports):
    """Say what the last run left there."""
    return needs_repair(map(at, ports))


def test_killed_outright_every_actuator_is_driven_safe_and_the_rack_is_free_again(hold, actuators):
    used = ports(actuators)
    process, _ = hold("run-a", *used)
    process.kill()
    process.wait()
    for node in actuators:
        payload, source = node.recvfrom(100)
        assert payload == b"safe"
        node.sendto(b"done", source)

    with take_when_free("run-b", *used):
        repair = left_at(*used)

    assert repair is not None
    assert repair.holder.run == "run-a"
    assert "its guard sent 2 safe commands, 2 were answered" in str(repair)


def test_a_command_that_was_lost_is_sent_again(hold, actuators):
    used = ports(actuators)[:1]
    process, _ = hold("run-a", *used)
    process.kill()
    process.wait()
    actuators[0].recvfrom(100)  # lost
    payload, source = actuators[0].recvfrom(100)
    actuators[0].sendto(b"done", source)

    assert payload == b"safe"
    with take_when_free("run-b", *used):
        assert "1 safe command, 1 was answered" in str(left_at(*used))


def test_a_node_that_is_away_for_a_moment_is_reached_when_it_is_back(hold, actuators):
    [address] = [node.getsockname() for node in actuators[:1]]
    actuators[0].close()
    process, _ = hold("run-a", str(address[1]))
    process.kill()
    process.wait()
    select.select((), (), (), 0.4)  # away for longer than the guard's first tries; nobody sees them
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as back:
        back.bind(address)
        back.settimeout(WHOLE_GUARD_SECONDS)
        payload, source = back.recvfrom(100)
        back.sendto(b"done", source)

    assert payload == b"safe"


def test_a_node_that_never_answers_is_told_and_does_not_hold_the_rack_for_ever(hold, actuators):
    used = ports(actuators)
    process, _ = hold("run-a", *used)
    process.kill()
    process.wait()
    source = actuators[0].recvfrom(100)[1]
    actuators[0].sendto(b"done", source)

    with take_when_free("run-b", *used) as lock:
        nodes = json.loads(lock.marks[0].guard_file.read_text())["nodes"]
        repair = left_at(*used)

    assert "2 safe commands, 1 was answered" in str(repair)
    assert [b"done".hex(), ""] == [node["answer"] for node in nodes]


def test_a_clean_end_sends_nothing(hold, actuators):
    used = ports(actuators)
    process, guard = hold("run-a", *used)
    out, _ = process.communicate("clean\n", timeout=WHOLE_GUARD_SECONDS)

    assert out == "released\n"
    assert left_at(*used) is None
    assert not Path(f"/proc/{guard}").exists()
    for node in actuators:
        node.settimeout(0.05)
        with pytest.raises(TimeoutError):
            node.recvfrom(100)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_the_guard_is_deaf_to_polite_signals_and_has_a_session_of_its_own(hold, actuators, number):
    process, guard = hold("run-a", *ports(actuators[:1]))
    subprocess.run(["kill", f"-{number.value}", str(guard)], check=True)
    session = Path(f"/proc/{guard}/stat").read_text().rpartition(")")[2].split()[3]
    process.kill()
    process.wait()

    assert actuators[0].recvfrom(100)[0] == b"safe"
    assert int(session) == guard


def test_a_run_that_crashes_is_as_good_as_killed(hold, actuators):
    process, _ = hold("run-a", *ports(actuators[:1]))
    process.communicate("", timeout=WHOLE_GUARD_SECONDS)  # it ends without the word

    assert actuators[0].recvfrom(100)[0] == b"safe"


def test_a_second_run_is_refused_and_the_first_undisturbed(hold, actuators):
    used = ports(actuators)
    # two runs on one rack: the second says who holds the rack and sends nothing.
    process, _ = hold("run-a", *used)
    with pytest.raises(BusyError, match=f"rack rack is busy: run run-a, process {process.pid} on"):
        take_when_free("run-b", *used)
    out, _ = process.communicate("clean\n", timeout=WHOLE_GUARD_SECONDS)

    assert out == "released\n"


def test_a_run_that_has_the_rack_already_is_not_disturbed_by_a_late_guard(actuators):
    used = ports(actuators)
    first = take_when_free("run-a", *used)
    address = Address(*actuators[0].getsockname())
    guard = Guard(first, [SafeDatagram("127.0.0.1", Packet("n1", address, b"safe"))])
    first.release()
    with take_when_free("run-b", *used):
        guard.act()

    actuators[0].settimeout(0.05)
    with pytest.raises(TimeoutError):
        actuators[0].recvfrom(100)


def test_what_another_run_holds_is_left_to_it_and_the_rest_is_made_safe(actuators):
    mine, others = used = ports(actuators)
    first = take_when_free("run-a", *used)
    first.mark_unclean()
    orders = [SafeDatagram("127.0.0.1", Packet(port, at(port), b"safe")) for port in used]
    guard = Guard(first, orders)
    first.release()
    with take_when_free("run-b", others):
        guard.act()

    assert actuators[0].recvfrom(100)[0] == b"safe"
    assert "1 safe command, 0 were answered" in str(left_at(mine))
    actuators[1].settimeout(0.05)
    with pytest.raises(TimeoutError):
        actuators[1].recvfrom(100)


def test_what_has_taken_a_nodes_place_is_sent_nothing(actuators):
    used = ports(actuators)
    with take_when_free("run-a", *used) as lock:
        lock.mark_unclean()
        orders = [SafeDatagram("127.0.0.1", Packet(port, at(port), b"safe")) for port in used]
        guard = Guard(lock, orders)
        guard.spare({used[0]})
        guard._child.hang_up()
        payload, source = actuators[1].recvfrom(100)
        actuators[1].sendto(b"done", source)
        guard.act()

    assert payload == b"safe"
    assert "1 safe command, 1 was answered" in str(left_at(*used))
    actuators[0].settimeout(0.05)
    with pytest.raises(TimeoutError):
        actuators[0].recvfrom(100)


def test_a_guard_that_was_killed_is_noticed(actuators):
    used = ports(actuators)
    with take_when_free("run-a", *used) as lock:
        guard = Guard(lock, [])
        subprocess.run(["kill", "-KILL", str(guard.pid)], check=True)
        ended = os.pidfd_open(guard.pid)
        assert select.select([ended], [], [], 10)[0]
        os.close(ended)

        with pytest.raises(BenchError, match="the guard was not there any more"):
            guard.stand_down()
