"""How `hil watch` shows things: a table that lives on a terminal, or a line for each period."""

from typing import TextIO

from hil.cli.keys import Keys
from hil.cli.screen import Patient, Screen
from hil.cli.sgr import Colours, render
from hil.cli.watch_table import WatchTable
from hil.core.instant import SECOND, Duration, Instant
from hil.core.signal import Validity, show_value
from hil.report.paint import wants_colour
from hil.report.visible import visible_line
from hil.runner.course import Course
from hil.runner.live import Live


class TableView:
    """The live table; keys scroll it and end it."""

    def __init__(self, title: str, stream: TextIO, keys: Keys) -> None:
        letters = not _carries(stream, "█×■↑…")
        self._table = WatchTable(title, Colours(wants_colour(stream)), letters=letters)
        self._screen = Screen(stream)
        self._keys = keys
        self._first = 0
        self._room = 1

    def look(self, live: Live, now: Instant) -> bool:
        """Draw a frame; return whether somebody pressed the key that ends it."""
        wanted = False
        for key in self._keys.pressed():
            wanted |= key == "quit"
            self._scroll(key, len(live.courses))
        columns, lines = self._screen.size
        for _ in range(2):  # a window that has grown shows more: then begin farther up
            frame, self._room = self._table.frame(live, now, columns, lines, self._first)
            last = max(0, len(live.courses) - self._room)
            if self._first <= last:
                break
            self._first = last
        self._screen.draw([render(line) for line in frame[:lines]])
        return wanted

    def close(self) -> None:
        """Give the terminal back."""
        self._screen.close()

    def _scroll(self, key: str, count: int) -> None:
        steps = {"up": -1, "down": 1, "page up": -self._room, "page down": self._room}
        first = self._first + steps.get(key, 0)
        if key in ("home", "end"):
            first = 0 if key == "home" else count
        self._first = max(0, min(first, count - self._room))


class LineView:
    """A line for each period, for a pipe or a file."""

    def __init__(self, stream: TextIO, period: Duration) -> None:
        self._paper = Patient(stream)
        self._decimals = 1 if period >= SECOND // 10 else 3

    def look(self, live: Live, now: Instant) -> bool:
        """Write a line."""
        told = "   ".join(_told(course, live) for course in live.courses.values())
        seconds = f"{(now - live.start) / SECOND:.{self._decimals}f}"
        self._paper.write(f"{seconds:>8} s   {told}\n")
        return False

    def close(self) -> None:
        """Write what waits."""
        self._paper.flush()


def _told(course: Course, live: Live) -> str:
    path, sample = course.signal.path, course.sample
    if sample is None:
        return f"{path} {'unreachable' if course.signal.node in live.closed else 'nothing yet'}"
    said = visible_line(show_value(sample.value, course.signal))
    note = visible_line(sample.note)
    if sample.validity is Validity.INVALID:
        said = f"no measurement ({note})" if note else "no measurement"
    elif sample.validity is Validity.STALE:
        said = f"{said} ({note})" if sample.value is not None else f"stale ({note})"
    bands = "".join(
        f" [{each.band} ({each.colour}){', ' if each.aside else ''}{each.aside}]"
        for each in live.banding.standings(path)
    )
    return f"{path} {said}{bands}"


def _carries(stream: TextIO, signs: str) -> bool:
    try:
        signs.encode(stream.encoding or "utf-8")
    except UnicodeEncodeError:
        return False
    return True
