"""Held by a stop signal, kept busy, and ended by signals: real processes."""

import select
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from bench.small import ms, rack

from hil.bench.interrupt import Interrupts
from hil.bench.wall import WallBench
from hil.core.instant import Instant
from hil.core.observation import Abort, HostNote, HostTrouble
from hil.wire.rack import Address

pytestmark = pytest.mark.wall

VICTIM = str(Path(__file__).parent / "bench_victim.py")


def pass_time(seconds):
    """Let real time pass, where a stall is what is tested."""
    select.select((), (), (), seconds)


def until(process, state):
    """Wait until the system says that a process sleeps (S) or is stopped (T)."""
    began = time.monotonic()
    while Path(f"/proc/{process.pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != state:
        assert time.monotonic() - began < 10, f"process {process.pid} never came to {state}"


@pytest.fixture
def node():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as opened:
        opened.bind(("127.0.0.1", 0))
        opened.settimeout(10)
        yield opened


@pytest.fixture
def start(node):
    """Start a victim that waits on a wall bench; end it afterwards, by its own id."""
    started = []

    def begin(milliseconds, stamps="kernel"):
        port = str(node.getsockname()[1])
        command = [sys.executable, VICTIM, "bench", port, str(milliseconds), stamps]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        started.append(process)
        source = node.recvfrom(100)[1]
        word, instant = process.stdout.readline().split()
        assert word == "waiting"
        return process, source, int(instant)

    yield begin
    for process in started:
        process.kill()
        process.wait()
        process.stdout.close()


def told(process):
    """Return what it tells until its end, as (kind, instant, text)."""
    lines = process.stdout.read().splitlines()
    assert process.wait(10) == 0
    assert lines.pop().startswith("over ")
    parts = [line.split(" ", 2) for line in lines]
    return [(kind, int(at), text) for kind, at, text in parts]


def test_held_by_a_stop_signal_the_answer_keeps_its_instant_and_the_lateness_is_told(node, start):
    process, source, begun = start(500)
    until(process, "S")
    process.send_signal(signal.SIGSTOP)
    until(process, "T")
    before = time.monotonic_ns()
    node.sendto(b"answer", source)
    after = time.monotonic_ns()
    while time.monotonic_ns() < begun + ms(700):
        pass_time(0.01)
    process.send_signal(signal.SIGCONT)

    arrivals = told(process)

    kinds = [kind for kind, _, _ in arrivals]
    assert kinds == ["Packet", "HostNote"]
    assert before - 100_000 <= arrivals[0][1] <= after + ms(10)
    assert arrivals[1][1] == begun + ms(500)  # before the timers that it throws doubt on
    assert "host late" in arrivals[1][2]


def test_without_stamps_being_held_is_noticed_even_when_no_deadline_was_missed(node, start):
    # The answer's instant is that of reading: it must not be judged without the lateness.
    process, source, begun = start(600, "read-time")
    until(process, "S")
    process.send_signal(signal.SIGSTOP)
    until(process, "T")
    node.sendto(b"answer", source)
    while time.monotonic_ns() < begun + ms(300):
        pass_time(0.01)
    continued = time.monotonic_ns()
    process.send_signal(signal.SIGCONT)

    [late, answer] = told(process)

    assert [late[0], answer[0]] == ["HostNote", "Packet"]
    assert late[1] < begun + ms(100)
    assert answer[1] >= continued


def test_a_run_that_stays_away_is_late_and_is_told_so_before_the_timers_it_missed():
    bench = WallBench(rack(Address("127.0.0.1", 4_000), late=5_000_000))
    _, horizon = bench.wait(bench.now())
    pass_time(0.03)

    arrivals, _ = bench.wait(Instant(horizon + ms(10)))
    bench.close()

    [arrival] = arrivals
    note, at = arrival.thing, arrival.at
    assert isinstance(note, HostNote)
    assert note.trouble is HostTrouble.LATE
    assert note.amount >= ms(25)
    assert at < horizon + ms(10)


def test_a_punctual_bench_says_nothing():
    bench = WallBench(rack(Address("127.0.0.1", 4_000), late=500_000_000))
    notes = []
    for count in range(20):
        notes += bench.wait(Instant(bench.now() + ms(1 + count % 3)))[0]
    bench.close()

    assert notes == []
    assert 0 < bench.latest < ms(500)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_becomes_an_arrival_at_once(start, number):
    process, _, begun = start(300)
    until(process, "S")
    process.send_signal(number)

    [(kind, at, text)] = told(process)

    assert kind == "Abort"
    assert begun <= at < begun + ms(290)
    assert f"ended by {number.name}" in text
    assert "patience=1000000000" in text


def test_a_second_signal_shortens_the_patience(start):
    process, _, _ = start(500)
    process.send_signal(signal.SIGTERM)
    first = process.stdout.readline()
    process.send_signal(signal.SIGTERM)

    [(_, _, second)] = told(process)

    assert "patience=1000000000" in first
    assert "and again" in second
    assert "patience=200000000" in second


def test_a_signal_that_was_ignored_stays_ignored():
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with Interrupts() as interrupts:
            signal.raise_signal(signal.SIGHUP)
            assert interrupts.take(Instant(0)) is None
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


def test_a_signal_between_two_waits_is_not_lost_and_everything_is_put_back():
    before = [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)]
    with Interrupts() as interrupts:
        bench = WallBench(rack(Address("127.0.0.1", 4_000)), interrupts=interrupts)
        signal.raise_signal(signal.SIGTERM)
        arrivals, _ = bench.wait(Instant(bench.now() + ms(5_000)))
        again, _ = bench.wait(Instant(bench.now() + ms(1)))
        bench.close()

    assert [Abort] == [type(arrival.thing) for arrival in arrivals]
    assert again == []
    assert interrupts.number == signal.SIGTERM
    assert before == [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)]
