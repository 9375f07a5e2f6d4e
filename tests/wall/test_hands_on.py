"""Hands on, with real processes: what is held is let go of, and looking on disturbs nobody."""

import contextlib
import fcntl
import os
import pty
import select
import signal
import socket
import struct
import subprocess
import sys
import termios
import time

import pytest
from cli.terminal import Terminal
from wall.run_rack import LONG, PATIENCE, SHORT, Rack, finish

pytestmark = pytest.mark.wall

ARM = ("--bench", "bench.yaml", "gauge.arm", "45 deg")


@pytest.fixture
def rack(tmp_path):
    made = Rack(tmp_path, LONG)
    yield made
    made.close()


class Seat:
    """A pseudo-terminal with `hil` at it, and a paper terminal that shows what it wrote."""

    def __init__(self, rack, *words, columns=100, lines=20, **environment):
        self.ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))
        self.before = termios.tcgetattr(theirs)
        self.paper = Terminal(columns, lines)
        self.process = subprocess.Popen(
            [sys.executable, "-m", "hil", *words],
            cwd=rack.folder,
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env=os.environ | {"TERM": "xterm-256color", "NO_COLOR": ""} | environment,
            start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )
        self.theirs = theirs

    def type(self, keys):
        os.write(self.ours, keys)

    def read(self):
        """Take what has been written by now."""
        octets = b""
        while select.select([self.ours], [], [], 0)[0]:
            octets += os.read(self.ours, 65_536)
        self.paper.feed(octets.decode().replace("\r\n", "\n"))
        return octets

    def wait_for(self, text):
        """Read until a text stands on the terminal."""
        end = time.monotonic() + PATIENCE
        while text not in "\n".join(self.paper.text):
            assert time.monotonic() < end, f"{text!r} never came:\n" + "\n".join(self.paper.text)
            select.select([self.ours], [], [], 0.1)
            self.read()

    def end(self):
        """Wait until it has ended; return its exit code."""
        end = time.monotonic() + PATIENCE
        while self.process.poll() is None:
            assert time.monotonic() < end, "it does not end"
            select.select([self.ours], [], [], 0.05)
            self.read()
        self.read()
        return self.process.returncode

    def close(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        os.close(self.theirs)
        os.close(self.ours)


@pytest.fixture
def sit(rack):
    with contextlib.ExitStack() as stack:

        def start(*words, **more):
            seat = Seat(rack, *words, **more)
            stack.callback(seat.close)
            return seat

        yield start


# --- set ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 0), (signal.SIGTERM, 143)])
def test_what_is_held_is_made_safe_when_somebody_ends_it(rack, number, code):
    held = rack.hil("set", *ARM)
    rack.wait_for_arm(45)
    held.send_signal(number)
    took = rack.wait_for_arm(0)
    got, out, err = finish(held)

    assert (got, took < 1) == (code, True), out + err
    assert "gauge.arm set to 45 deg" in out
    assert "safe: all 2 driven signals are back" in out
    assert not rack.needs_repair()


def test_the_guard_makes_safe_what_a_killed_one_held_and_the_next_one_repairs(rack):
    held = rack.hil("set", *ARM)
    rack.wait_for_arm(45)
    held.kill()
    took = rack.wait_for_arm(0)
    finish(held)

    assert took < 5
    assert rack.needs_repair()

    code, out, _ = finish(
        rack.hil("set", "--bench", "bench.yaml", "gauge.pressure", "4 bar", "--for", "0.2 s")
    )
    assert code == 0, out
    assert "the last run did not leave the rack safe" in out
    assert not rack.needs_repair()


def test_while_it_is_held_nobody_else_can_drive_but_everybody_can_look(rack):
    held = rack.hil("set", *ARM)
    rack.wait_for_arm(45)
    started = [
        rack.hil("set", "--bench", "bench.yaml", "gauge.pressure", "4 bar"),
        rack.run(),
        rack.hil("get", "--bench", "bench.yaml", "gauge.arm"),
        rack.hil("watch", "--bench", "bench.yaml", "gauge.arm", "--for", "1 s"),
    ]
    other, run, got, watched = [finish(process) for process in started]
    held.send_signal(signal.SIGINT)

    assert (other[0], run[0]) == (3, 3)
    assert "is busy: run " in other[2]
    assert "-by-hand, process " in other[2]
    assert got[0] == 0
    assert got[1].split()[:3] == ["gauge.arm", "45.0", "deg"]
    assert watched[0] == 0
    assert watched[1].split() == ["1.0", "s", "gauge.arm", "45.0", "deg"]
    assert finish(held)[0] == 0


def test_a_run_that_is_watched_and_read_passes_as_it_does_alone(rack):
    (rack.folder / "plan.yaml").write_text(SHORT)
    watch = rack.hil("watch", "--bench", "bench.yaml", "--every", "100 ms")
    assert watch.stdout.readline()
    run = rack.run("--repeat", "5")
    reads = [finish(rack.hil("get", "--bench", "bench.yaml", "gauge"))[0] for _ in range(2)]
    code, out, err = finish(run)
    watch.send_signal(signal.SIGINT)

    assert (code, reads) == (0, [0, 0]), out + err
    assert finish(watch)[0] == 0


def test_it_cannot_be_put_to_sleep_while_it_holds(sit, rack):
    """Ctrl-Z would leave the arm where it is, with nobody awake to let go of it."""
    seat = sit("set", *ARM)
    seat.wait_for("held for")
    seat.type(b"\x1a")
    seat.type(b"\x03")

    assert seat.end() == 0
    assert rack.arm() == 0
    assert "safe: all 2 driven signals are back" in seat.paper.text


def test_it_holds_for_its_time_and_the_living_lines_stay_in_their_place(sit, rack):
    seat = sit("set", *ARM, "--for", "1.5 s")
    rack.wait_for_arm(45)
    held = rack.wait_for_arm(0)

    assert (seat.end(), held > 1.2) == (0, True)
    text = [line for line in seat.paper.text if line]
    assert [line.split("   ")[0] for line in text] == [
        next(line for line in text if line.startswith("interface lo")),
        "gauge.arm",
        text[2],
        "making the rack safe",
        "safe: all 2 driven signals are back",
    ]
    assert text[1].startswith("gauge.arm   set to 45 deg   reads 45.0 deg")
    assert text[2].startswith("held for 1.")


def test_a_stopped_terminal_does_not_keep_it_from_letting_go(sit, rack):
    seat = sit("set", *ARM)
    seat.wait_for("held for")
    termios.tcflow(seat.theirs, termios.TCOOFF)  # Ctrl-S
    seat.process.terminate()
    rack.wait_for_arm(0)
    termios.tcflow(seat.theirs, termios.TCOON)

    assert seat.end() == 143


def test_software_nodes_in_process_are_held_at_the_pace_of_the_clock(request):
    began = time.monotonic()
    command = [sys.executable, "-m", "hil", "set", "--virtual", "--for", "1 s"]
    ended = subprocess.run(
        [*command, "louvres.vane-1.angle", "-20 deg"],
        cwd=request.config.rootpath,
        capture_output=True,
        text=True,
        check=False,
    )

    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert time.monotonic() - began > 1
    assert "vane-1.position reads -20.0 deg" in ended.stdout


# --- get ------------------------------------------------------------------------------------------


def test_a_silent_node_is_said_to_be_so_after_the_stated_time(tmp_path):
    mute = Rack(tmp_path, SHORT, "mute")
    try:
        code, out, err = finish(
            mute.hil("get", "--bench", "bench.yaml", "gauge.arm", "--within", "300 ms")
        )

        assert code == 3
        assert out.split() == ["gauge.arm", "silent"]
        assert f"gauge is silent: no reading from 127.0.0.1:{mute.port} within 300 ms" in err
    finally:
        mute.close()


def test_a_closed_port_is_said_at_once(rack):
    rack.node.kill()
    rack.node.wait()
    code, _, err = finish(rack.hil("get", "--bench", "bench.yaml", "gauge", "--within", "1 min"))

    assert code == 3
    assert "is closed: it answered port unreachable" in err


def test_a_garbled_reading_is_explained(tmp_path):
    """Something else has the node's address and answers with octets of its own."""
    made = Rack(tmp_path, SHORT)
    made.node.kill()
    made.node.wait()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as node:
        node.bind(("127.0.0.1", made.port))
        got = made.hil("get", "--bench", "bench.yaml", "gauge.arm", "--within", "1 s")
        _, asker = node.recvfrom(65_535)
        node.sendto(b"\x31\x07", asker)
        code, _, err = finish(got)
    made.close()

    assert code == 3
    assert "1 datagram came that could not be used, the last: length 2, declared 17" in err
    assert "(hil wire 3107)" in err


# --- watch ----------------------------------------------------------------------------------------


def test_a_table_lives_until_its_key_and_the_terminal_is_as_it_was(sit):
    seat = sit("watch", "--bench", "bench.yaml")
    seat.wait_for("gauge.arm")
    seat.wait_for("0.0 deg")
    live = (seat.paper.second, seat.paper.hidden, seat.paper.text[0].split(":")[0])
    seat.type(b"q")

    assert live == (True, True, "plain")
    assert seat.end() == 0
    assert (seat.paper.second, seat.paper.hidden) == (False, False)
    assert termios.tcgetattr(seat.theirs) == seat.before


def test_ctrl_c_ends_a_table_and_a_change_is_seen(sit, rack):
    seat = sit("watch", "--bench", "bench.yaml")
    seat.wait_for("green")
    held = rack.hil("set", "--bench", "bench.yaml", "gauge.pressure", "4.8 bar", "--for", "1 s")
    seat.wait_for("4.80 bar")
    seat.wait_for("red")
    finish(held)
    seat.wait_for("2.00 bar")
    seat.type(b"\x03")

    assert seat.end() == 0
    assert termios.tcgetattr(seat.theirs) == seat.before


def test_a_window_that_changes_its_size_is_filled_anew(sit):
    seat = sit("watch", "--bench", "bench.yaml", columns=100, lines=20)
    seat.wait_for("gauge.arm")
    seat.paper = Terminal(60, 5)
    fcntl.ioctl(seat.theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 5, 60, 0, 0))
    seat.wait_for("1 to 2 of 3")
    seat.type(b"\x1b[B")
    seat.wait_for("2 to 3 of 3")

    assert seat.paper.text[3].startswith("gauge.arm")


def test_no_colour_means_none_and_few_signs_mean_letters(sit):
    environment = {"NO_COLOR": "1", "PYTHONIOENCODING": "ascii"}
    seat = sit("watch", "--bench", "bench.yaml", **environment)
    seat.wait_for("gauge.arm")
    seat.wait_for("___")

    assert all(style == "" for row in seat.paper.cells for _, style in row)


def test_without_a_terminal_a_line_is_printed_each_period(rack):
    code, out, err = finish(
        rack.hil(
            "watch", "--bench", "bench.yaml", "gauge.lamp", "--for", "1 s", "--every", "250 ms"
        )
    )
    lines = [line.split() for line in out.splitlines()]

    assert code == 0, err
    assert [line[0] for line in lines] == ["0.2", "0.5", "0.8", "1.0"]
    assert lines[-1][2:] == ["gauge.lamp", "green"]
