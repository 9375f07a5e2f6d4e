"""A terminal that is drawn on again and again, without flicker and without ever waiting for it.

    Patient   writes only while the other side takes something; what waits goes out later
    Block     a few lines that live at the end of the output; lasting lines go above them
    Screen    the whole window, on the terminal's second page, so that the first comes back

Only lines that have changed are written, over what stood there, each with an end that wipes the
rest of it (ECMA-48 8.3.41 EL).  A terminal that was stopped with Ctrl-S misses frames and stops
nobody: whoever holds an actuator must be able to let go of it.
"""

import os
import select
from collections.abc import Sequence
from typing import TextIO

_USUAL = os.terminal_size((80, 24))
_LEFT, _TOP, _WIPE_LINE, _WIPE_REST = "\r", "\x1b[H", "\x1b[K", "\x1b[J"
_SECOND_PAGE, _FIRST_PAGE = "\x1b[?1049h", "\x1b[?1049l"
_HIDE_CURSOR, _SHOW_CURSOR = "\x1b[?25l", "\x1b[?25h"


def size_of(stream: TextIO) -> os.terminal_size:
    """Return columns and lines of a terminal as it is now."""
    try:
        size = os.get_terminal_size(stream.fileno())
    except (OSError, ValueError):
        return _USUAL
    return size if size.columns and size.lines else _USUAL


class Patient:
    """Writes to a stream that may not take anything at the moment."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._waiting = ""
        try:
            self._fd: int | None = stream.fileno()
        except (OSError, ValueError):
            self._fd = None

    @property
    def ready(self) -> bool:
        """Whether the stream takes something now."""
        if self._fd is None:
            return True
        try:
            return bool(select.select([], [self._fd], [], 0)[1])
        except (OSError, ValueError):
            return True  # it is gone: whoever stands in for it takes everything

    def write(self, text: str) -> None:
        """Write now, or as soon as it is asked to write again and the stream takes something."""
        self._waiting += text
        if self._waiting and self.ready:
            self.flush()

    def flush(self) -> None:
        """Write what waits, however long that takes."""
        text, self._waiting = self._waiting, ""
        self._stream.write(text)
        self._stream.flush()


class Block:
    """Lines at the end of the output that are drawn again in their place."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._out = Patient(stream)
        self._shown: list[str] = []
        self._columns = size_of(stream).columns

    @property
    def size(self) -> os.terminal_size:
        return size_of(self._stream)

    def say(self, line: str) -> None:
        """Write a lasting line above the living ones."""
        shown, self._shown = self._shown, []
        self._out.write(_back_over(shown) + line + "\n" + "".join(f"{one}\n" for one in shown))
        self._shown = shown

    def draw(self, lines: Sequence[str]) -> None:
        """Draw the living lines, each narrower than the window."""
        columns = self.size.columns
        if columns != self._columns:
            self._columns, self._shown = columns, []  # the terminal has broken the old ones anew
        if list(lines) == self._shown or not self._out.ready:
            return
        fresh = "".join(f"{line}{_WIPE_LINE}\n" for line in lines)
        rise = f"\x1b[{len(self._shown)}F" if self._shown else ""
        self._out.write(_LEFT + rise + fresh + _WIPE_REST)
        self._shown = list(lines)

    def close(self) -> None:
        """Leave the living lines as they are, and go on below them."""
        self._shown = []
        self._out.flush()


def _back_over(lines: Sequence[str]) -> str:
    return f"\x1b[{len(lines)}F{_WIPE_REST}" if lines else ""


class Screen:
    """The whole window; the lines handed over are as many and as wide as `size` says at most."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._out = Patient(stream)
        self._shown: list[str] = []
        self._size = size_of(stream)
        self._out.write(_SECOND_PAGE + _HIDE_CURSOR + _TOP + _WIPE_REST)

    @property
    def size(self) -> os.terminal_size:
        return size_of(self._stream)

    def draw(self, lines: Sequence[str]) -> None:
        """Draw the window; a frame that the terminal does not take is left out."""
        if not self._out.ready:
            return
        wiped = ""
        if self.size != self._size:
            self._size, self._shown, wiped = self.size, [], _TOP + _WIPE_REST
        changed = [
            f"\x1b[{row + 1}H{line}{_WIPE_LINE}"
            for row, line in enumerate(lines)
            if row >= len(self._shown) or line != self._shown[row]
        ]
        if len(lines) < len(self._shown):
            changed.append(f"\x1b[{len(lines) + 1}H{_WIPE_REST}")
        if wiped or changed:
            self._out.write(wiped + "".join(changed))
        self._shown = list(lines)

    def close(self) -> None:
        """Bring the first page back."""
        self._out.write(_SHOW_CURSOR + _FIRST_PAGE)
        self._out.flush()
