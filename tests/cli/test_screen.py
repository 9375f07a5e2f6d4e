"""Drawing on a terminal: only what changed, within the window, and never waiting for it."""

import fcntl
import os
import pty
import select
import struct
import termios

import pytest
from cli.terminal import Terminal

from hil.cli.keys import named
from hil.cli.screen import Block, Patient, Screen
from hil.cli.sgr import Colours, fit, render, text_of
from hil.report.line import Tone


class Window:
    """A pseudo-terminal with a paper terminal behind it."""

    def __init__(self, columns=40, lines=6):
        self.ours, theirs = pty.openpty()
        self.theirs = theirs
        self.resize(columns, lines)
        self.stream = open(theirs, "w", encoding="utf-8")  # noqa: SIM115
        self.paper = Terminal(columns, lines)
        self.written = ""

    def resize(self, columns, lines):
        size = struct.pack("HHHH", lines, columns, 0, 0)
        fcntl.ioctl(self.theirs, termios.TIOCSWINSZ, size)

    def read(self):
        """Take what was written; return it."""
        text = ""
        while select.select([self.ours], [], [], 0)[0]:
            text += os.read(self.ours, 65_536).decode()
        self.paper.feed(text.replace("\r\n", "\n"))
        return text

    def close(self):
        self.stream.close()
        os.close(self.ours)


@pytest.fixture
def window():
    made = Window()
    yield made
    made.close()


def test_the_window_shows_the_lines_and_comes_back_at_the_end(window):
    screen = Screen(window.stream)
    screen.draw(["one", "two"])
    window.read()
    shown = (window.paper.text[:3], window.paper.hidden, window.paper.second)
    screen.close()
    window.read()

    assert shown == (["one", "two", ""], True, True)
    assert (window.paper.hidden, window.paper.second) == (False, False)


def test_only_lines_that_have_changed_are_written(window):
    screen = Screen(window.stream)
    screen.draw(["one", "two", "three"])
    window.read()
    screen.draw(["one", "2", "three"])
    changed = window.read()
    screen.draw(["one", "2", "three"])

    assert "2" in changed
    assert "one" not in changed
    assert "three" not in changed
    assert window.read() == ""
    assert window.paper.text[:3] == ["one", "2", "three"]


def test_a_frame_with_fewer_lines_wipes_the_rest(window):
    screen = Screen(window.stream)
    screen.draw(["one", "two", "three"])
    screen.draw(["one"])
    window.read()

    assert window.paper.text == ["one", "", "", "", "", ""]


def test_a_window_of_another_size_is_drawn_anew(window):
    screen = Screen(window.stream)
    screen.draw(["one", "two"])
    window.read()
    window.resize(30, 5)
    screen.draw(["one", "two"])

    assert "one" in window.read()
    assert screen.size == (30, 5)


def test_a_stopped_terminal_misses_frames_and_stops_nobody(window):
    """Ctrl-S: the other side takes nothing until Ctrl-Q."""
    screen = Screen(window.stream)
    window.read()
    termios.tcflow(window.theirs, termios.TCOOFF)
    for number in range(2_000):
        screen.draw([f"frame {number}", "x" * 30])
    termios.tcflow(window.theirs, termios.TCOON)
    screen.draw(["the last"])
    window.read()

    assert window.paper.text[0] == "the last"
    assert window.paper.text[1] == ""


def test_a_block_is_drawn_in_its_place_below_what_was_said(window):
    block = Block(window.stream)
    block.draw(["a 1", "b 1"])
    block.draw(["a 2", "b 1"])
    block.say("something happened")
    block.draw(["a 3", "b 2"])
    window.read()

    assert window.paper.text[:4] == ["something happened", "a 3", "b 2", ""]


def test_a_block_scrolls_with_the_terminal(window):
    block = Block(window.stream)
    for number in range(10):
        block.say(f"said {number}")
        block.draw([f"living {number}"])
    block.close()
    window.read()

    assert window.paper.text[-2:] == ["living 9", ""]
    assert window.paper.text[-3] == "said 9"


def test_what_a_pipe_does_not_take_goes_out_later():
    ours, theirs = os.pipe()
    os.set_blocking(ours, False)
    with open(theirs, "w") as stream, open(ours, "rb") as reader:
        fcntl.fcntl(theirs, fcntl.F_SETPIPE_SZ, 4096)
        patient = Patient(stream)
        patient.write("x" * 4096)
        patient.write("later\n")
        full = reader.read()
        patient.write("")
        patient.flush()
        rest = reader.read()

    assert full == b"x" * 4096
    assert rest == b"later\n"


@pytest.mark.parametrize(
    ("octets", "names"),
    [
        (b"q", ["quit"]),
        (b"\x1b[A\x1b[B", ["up", "down"]),
        (b"jjk", ["down", "down", "up"]),
        (b"\x1b[6~x\x1b[5~", ["page down", "page up"]),
        (b"\x1bOA\x1b[Z", ["up"]),
        (b"gG ", ["home", "end", "page down"]),
        (b"\xff\x1b", []),
    ],
)
def test_keys_have_names(octets, names):
    assert names == list(named(octets))


def test_a_colour_is_the_nearest_that_the_terminal_has():
    """Red, green, blue are the bits 1, 2, 4 of the eight colours (ECMA-48 8.3.117, 30 to 37)."""
    many = Colours(True, {"TERM": "xterm-256color"})
    few = Colours(True, {"TERM": "xterm"})
    none = Colours(False, {"TERM": "xterm-256color"})
    amber, red = (255, 191, 0), (255, 0, 0)

    assert many.rgb(red) == "38;5;196"
    assert many.rgb(amber) == "38;5;214"
    assert (few.rgb(red), few.rgb(amber)) == ("31", "33")
    assert (none.rgb(red), none.tone(Tone.BAD)) == ("", "")
    assert many.rgb((0, 0, 0)) == many.rgb(None) == ""


def test_a_line_is_cropped_to_columns_and_keeps_its_styles():
    line = (("pressure ", ""), ("4.80 bar", "1"))

    assert text_of(fit(line, 12)) == "pressure 4.…"
    assert fit(line, 17) == line
    assert render(fit(line, 12)) == "pressure \x1b[1m4.…\x1b[0m"
    assert text_of(fit((("温度", ""),), 3)) == "温…"
