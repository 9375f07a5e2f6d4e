"""Runs against a real program at a pseudo-terminal: it resets, babbles, dribbles, is swapped."""

import contextlib
import os
import re
import select
import time
import tty
from dataclasses import replace
from decimal import Decimal

import pytest
import serial
from wall.lines import PLAN, begin, events, journal, node, rack_of, run, talking

from hil.bench.bench import Refusal
from hil.bench.rig import open_wall
from hil.core.error import BenchError
from hil.core.instant import Instant
from hil.core.observation import Command, CommandLost, Purpose
from hil.files.read import read_rack
from hil.wire.link import Links, Packet

pytestmark = pytest.mark.wall

SAFE = "rate 7"


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("prompt", "split=15"),
        ("noecho", "babble=11520"),
        ("rubbish", "resets=100"),
    ],
    ids=lambda words: "-".join(words) or "plain",
)
def test_a_node_on_a_line_does_what_it_is_told_and_ends_safe(tmp_path, words):
    extra = "prompt: 'pump> '" if "prompt" in words else "echo: yes"
    extra = "opening-resets: yes" if "resets=100" in words else extra
    with talking(*words) as peer:
        code, out, lines = run(tmp_path, node(peer.device, extra=extra))
        heard = peer.end()

    assert code == 0, out
    assert "READY: 1 of 1 case passed" in out
    assert heard[0] == "id"
    assert "rate 42" in heard
    assert heard[-1] == SAFE or SAFE in heard[-3:]
    assert any(line["way"] == "out" for line in events(lines, "console-line"))


# pyserial #124, #156; grbl #160: the control line moves at opening and the board restarts.
def test_where_opening_resets_nothing_is_said_before_the_boot_line(tmp_path):
    with talking("resets=800") as peer:
        code, out, lines = run(tmp_path, node(peer.device, extra="opening-resets: yes"))
        heard = peer.end()
    [note] = events(lines, "node-note")
    first = next(line for line in events(lines, "console-line") if line["way"] == "out")

    assert code == 0, out
    assert not any("(down)" in line for line in heard)
    assert note["trouble"] == "console opened"
    assert note["text"] == "rebooted, because the console was opened"
    assert first["at"] >= note["at"] >= 700_000_000


def test_where_nothing_is_declared_the_restart_is_a_warning(tmp_path):
    with talking("resets=300") as peer:
        code, out, lines = run(tmp_path, node(peer.device))
    texts = [note["text"] for note in events(lines, "node-note")]

    assert code == 0, out
    assert any(text.startswith("rebooted when the console was opened") for text in texts)


# venus #1680, openhab-addons #15810: after a reset the numbers swap, and another board answers.
def test_two_consoles_that_were_swapped_are_noticed_before_anything_is_commanded(tmp_path):
    with talking("serial=SV-1") as servo, talking("serial=FA-2") as fan:
        code, out, _ = run(
            tmp_path,
            node(fan.device, "servo-1", 1, "SV-1"),
            node(servo.device, "fan-2", 2, "FA-2"),
            plan=PLAN.replace("pump.", "servo-1."),
        )
        heard = [*servo.end(), *fan.end()]

    assert code == 3
    assert "console of servo-1 answers as fan-2" in " ".join(out.split())
    assert not any("rate" in line for line in heard)


# pyserial #487, #730, #42: a time-out that begins again with every octet is no deadline.
def test_a_node_that_dribbles_octets_does_not_move_the_deadline(tmp_path):
    with talking("dots=200") as peer:
        bench = open_wall(rack_of(tmp_path, node(peer.device, within="2 s")))
        try:
            at, detail = lost_command(bench, tmp_path)
        finally:
            bench.close()

    assert at == pytest.approx(2e9, abs=50e6)
    assert re.search(r'no answer within 2 s; it said "\.{9,10}" without a line end', detail)
    assert re.search(r"\((9|10) octets: 2e( 2e){8,9}\)", detail)


def lost_command(bench, folder):
    """Command the pump; return how long it took until the command was lost, and why."""
    rack = read_rack(folder / "bench.yaml")
    [alone] = rack.nodes
    silent = replace(alone.console, identify=None, read=None)
    start = bench.now()
    links = Links(replace(rack, nodes=(replace(alone, console=silent),)), start)
    command = Command(token=1, signal="pump.rate", value=Decimal(1), purpose=Purpose.STIMULUS)
    links.tick(start)
    links.execute(command, start)
    sent = None
    while True:
        for packet in links.take_sends():
            sent = bench.send(packet)
            links.sent(packet, sent)
        for one in links.take_observations():
            if isinstance(one, CommandLost):
                return one.at - sent, one.detail
        arrivals, horizon = bench.wait(links.next_wakeup())
        for thing, at in ((one.thing, one.at) for one in arrivals):
            links.receive(thing, at)
        links.tick(horizon)


def test_a_line_that_is_unplugged_ends_no_run_and_the_case_says_so(tmp_path):
    slow = PLAN.replace("hold: 100 ms", "hold: 3 s").replace("within: 500 ms", "within: 6 s")
    with talking() as peer:
        process = begin(tmp_path, node(peer.device), plan=slow)
        for line in process.stdout:
            if line.startswith("1 case on"):
                break
        wait_for(tmp_path, "rate 42", process)
        peer.unplug()
        out = process.communicate(timeout=60)[0]
        lines = journal(tmp_path)
    told = " ".join(out.split())

    assert process.returncode == 3, out
    assert "the console of pump is gone, was it unplugged?" in told
    assert "it is not opened again in this run" in told
    [case] = events(lines, "case-ended")
    assert case["outcome"] != "fail"


def wait_for(folder, text, process):
    """Wait until a journal line tells of something."""
    path = folder / "reports" / "latest" / "journal.jsonl"
    while process.poll() is None:
        if path.exists() and text in path.read_text():
            return
        select.select((), (), (), 0.02)
    raise AssertionError("the run ended too early")


# --- killed -------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", [(), ("prompt", "babble=11520")], ids=str)
def test_killed_outright_the_guard_makes_the_node_safe_on_the_open_line(tmp_path, words):
    slow = PLAN.replace("hold: 100 ms", "hold: 20 s").replace("within: 500 ms", "within: 30 s")
    with talking(*words) as peer:
        extra = "prompt: 'pump> '" if "prompt" in words else "echo: yes"
        process = begin(tmp_path, node(peer.device, extra=extra), plan=slow)
        wait_for(tmp_path, '"text":"ok 42"', process)
        process.kill()
        process.communicate()
        code, out, lines = run(tmp_path, node(peer.device, extra=extra))
        heard = peer.end()
    after = heard[len(heard) - heard[::-1].index("rate 42") :]

    assert code == 0, out
    assert "its guard sent 1 safe command, 1 was answered" in out
    assert heard.count(SAFE) >= 3  # by the guard, to be repaired, at the end
    assert after
    assert lines


# --- opening ------------------------------------------------------------------------------------


def test_a_device_that_is_not_there_is_told_and_nothing_moves(tmp_path):
    code, out, lines = run(tmp_path, node("/dev/serial/by-id/nobody"))

    assert code == 3
    assert "the console of pump cannot be opened: there is no /dev/serial/by-id/nobody" in out
    assert "try: is it plugged in?" in out
    assert lines == []


def refusal(folder, text):
    with pytest.raises(BenchError) as raised:
        open_wall(rack_of(folder, text)).close()
    return str(raised.value)


def test_what_is_no_serial_line_is_told(tmp_path):
    assert "/dev/null is no serial port" in refusal(tmp_path, node("/dev/null"))


def test_a_line_that_another_program_has_is_told(tmp_path):
    with talking() as peer, serial.Serial(peer.device, exclusive=True):
        told = refusal(tmp_path, node(peer.device))

    assert f"{peer.device} is in use by another program" in told
    assert f"try: fuser -v {peer.device}" in told


def test_an_adapter_that_is_not_there_is_told(tmp_path):
    text = node("DEVICE").replace("device: DEVICE", "usb: {vendor: 0xdead, product: 0xbeef}")

    assert "no adapter on the USB is usb dead-beef" in refusal(tmp_path, text)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may open everything")
def test_a_line_that_one_may_not_open_is_told(tmp_path):
    with talking() as peer:
        os.chmod(peer.device, 0)
        told = refusal(tmp_path, node(peer.device))

    assert f"no permission for {peer.device}" in told
    assert "usermod -aG" in told


def test_the_line_is_free_again_when_the_bench_is_closed(tmp_path):
    with talking() as peer:
        rack = rack_of(tmp_path, node(peer.device))
        open_wall(rack).close()
        open_wall(rack).close()


@pytest.fixture
def open_end(tmp_path):
    """A bench with one open line, and the file at the other end of it."""
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    rack = rack_of(tmp_path, node(os.ttyname(slave)))
    bench = open_wall(rack)
    os.close(slave)
    yield bench, rack.nodes[0].address, master
    bench.close()
    os.close(master)


def test_a_line_that_takes_nothing_is_told_and_nobody_waits(open_end):
    bench, address, _ = open_end
    for _ in range(200):
        bench.send(Packet("pump", address, b"x" * 1_000))
    arrivals, _ = bench.wait(bench.now())
    refusals = [one.thing for one in arrivals if isinstance(one.thing, Refusal)]

    assert refusals
    assert all(one.line and "takes nothing" in one.text for one in refusals)
    assert bench.lines["pump"].gone == ""


def test_what_the_line_does_not_take_at_once_is_written_as_soon_as_it_does(open_end):
    bench, address, master = open_end
    said = [b"%04d" % number * 250 for number in range(300)]
    taken = 0
    while not bench.wait(bench.now())[0]:
        bench.send(Packet("pump", address, said[taken]))
        taken += 1
    assert bench.lines["pump"].waiting  # the last one was refused, those before it wait
    wanted = b"".join(said[: taken - 1])
    heard, end = b"", bench.now() + 2_000_000_000
    while len(heard) < len(wanted) and bench.now() < end:
        with contextlib.suppress(BlockingIOError):
            heard += os.read(master, 65_536)
        arrivals, _ = bench.wait(Instant(bench.now() + 2_000_000))
        assert arrivals == []

    assert heard == wanted


def test_octets_come_with_the_instant_at_which_they_were_read(open_end):
    bench, address, master = open_end
    before = bench.now()
    os.write(master, b"hello")
    arrivals, horizon = bench.wait(Instant(before + 1_000_000_000))
    [arrival] = arrivals

    assert arrival.thing == Packet("pump", address, b"hello")
    assert before <= arrival.at <= horizon <= bench.now()


def test_a_line_at_rest_keeps_nobody_awake(open_end):
    bench, _, master = open_end
    os.write(master, b"x")
    bench.wait(Instant(bench.now() + 100_000_000))
    begun = time.process_time()
    end = Instant(bench.now() + 300_000_000)
    while bench.wait(end)[1] < end:
        pass

    assert time.process_time() - begun < 0.1


def test_a_line_that_is_gone_is_told_once_and_keeps_nobody_awake(tmp_path):
    master, slave = os.openpty()
    rack = rack_of(tmp_path, node(os.ttyname(slave)))
    bench = open_wall(rack)
    os.close(slave)
    os.close(master)
    arrivals, _ = bench.wait(Instant(bench.now() + 1_000_000_000))
    begun = time.process_time()
    end = Instant(bench.now() + 300_000_000)
    later, horizon = bench.wait(end)
    bench.send(Packet("pump", rack.nodes[0].address, b"x"))
    refused, _ = bench.wait(end)
    bench.close()

    assert [one.thing.line for one in arrivals] == [True]
    assert "was it unplugged?" in arrivals[0].thing.text
    assert (later, horizon >= end) == ([], True)
    assert time.process_time() - begun < 0.1
    assert "it is not opened again in this run" in refused[0].thing.text
