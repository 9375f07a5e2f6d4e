"""The live table of `hil watch`, made anew for each frame; it fits the window it is made for.

    signal             value          age    per s  course of 4.0 s   state
    feedline.pressure   4.80 bar   <0.1 s     10.0  ▁▁▁▁▁▁▁▇▇▇▇▇▇▇▇▇  ■ over (red)
    cistern.level       75.0 %     <0.1 s     10.1  ▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁  ■ normal

What there is no room for goes in this order: the course, the rate, the age.
"""

from collections.abc import Sequence
from typing import NamedTuple

from hil.cli.age import show_age, show_coarse_age
from hil.cli.sgr import Colours, Piece, Pieces, fit
from hil.cli.spark import in_letters, spark
from hil.core.count import counted
from hil.core.instant import SECOND, Instant
from hil.core.signal import Kind, Validity, show_number, show_value
from hil.report.line import Tone
from hil.report.visible import visible_line
from hil.runner.course import Course
from hil.runner.live import Live, Remark

_AGE, _RATE, _GAP = 7, 7, 2
_LEAST_NAME, _LEAST_COURSE, _MOST_COURSE = 16, 8, 60
_LEAST_STATE = 18
_LONGEST = 24
_REMARKS = 2
_KEYS = "↑ ↓ page keys: scroll   q: end"


Cells = tuple[str, str, Pieces]
"""A number and its unit, or a text and nothing; and the state."""


class Widths(NamedTuple):
    """How many columns each part of the table has; 0 where it is left out."""

    name: int
    number: int
    value: int
    age: int
    rate: int
    course: int


class WatchTable:
    """Makes frames; what has once been wide stays wide, so that nothing jumps about."""

    def __init__(self, title: str, colours: Colours, *, letters: bool = False) -> None:
        self._title = title
        self._colours = colours
        self._letters = letters
        self._number = self._state = 0
        self._value = len("no value")

    def frame(
        self, live: Live, now: Instant, columns: int, lines: int, first: int
    ) -> tuple[list[Pieces], int]:
        """Return the lines of a frame, and how many rows of signals it shows."""
        remarks = [self._remark(live, each) for each in list(live.remarks)[-_REMARKS:]]
        room = max(1, lines - 3 - len(remarks))
        courses = list(live.courses.values())
        shown = courses[first : first + room]
        cells = [(course, self._cells(course, live)) for course in shown]
        self._remember(cells)
        widths = self._widths(courses, columns)
        elapsed = show_age(now - live.start)
        nodes = len({course.signal.node for course in courses})
        what = f"{counted(len(courses), 'signal')} of {counted(nodes, 'node')}, for {elapsed}"
        frame: list[Pieces] = [
            ((self._title, self._tone(Tone.STRONG)), (f": {what}", "")),
            self._head(widths, live),
            *(self._row(course, one, widths, now) for course, one in cells),
            *remarks,
            self._foot(first, len(shown), len(courses)),
        ]
        return [self._spelled(fit(line, columns)) for line in frame], room

    # --- cells ---------------------------------------------------------------------------------

    def _cells(self, course: Course, live: Live) -> Cells:
        signal, sample = course.signal, course.sample
        bands = self._bands(live, signal.path)
        if sample is None:
            said = live.closed.get(signal.node, "nothing heard yet")
            return "", "", ((said, self._tone(Tone.DOUBT)),)
        note = visible_line(sample.note)
        if sample.validity is Validity.INVALID:
            said = note if bands else f"no measurement: {note}"
            return "no value", "", _joined(bands, ((said, self._tone(Tone.BAD)),))
        number = visible_line(show_value(sample.value))
        if (
            signal.kind is Kind.NUMBER
            and sample.value is not None
            and not isinstance(sample.value, str)
        ):
            number = show_number(sample.value)
        if sample.validity is Validity.STALE:
            said = note if sample.raw else "stale"  # its age says for how long
            unit = "" if sample.value is None else signal.unit
            return number, unit, _joined(bands, ((said, self._tone(Tone.DOUBT)),))
        return number, signal.unit, _joined(bands, ((note, self._tone(Tone.DOUBT)),))

    def _bands(self, live: Live, path: str) -> Pieces:
        pieces: list[Piece] = []
        for each in live.banding.standings(path):
            words = each.band if each.normal else f"{each.band} ({each.colour})"
            words += f", {each.aside}" if each.aside else ""
            tone = Tone.PLAIN if each.normal else Tone.STRONG
            pieces += [("  " if pieces else "", "")]
            pieces += [("■ ", self._colours.rgb(each.rgb)), (words, self._tone(tone))]
        return tuple(pieces)

    def _remember(self, cells: Sequence[tuple[Course, Cells]]) -> None:
        """Note how wide numbers, values and states have been."""
        from rich.cells import cell_len

        numbers = [cell_len(number) for _, (number, unit, _) in cells if unit]
        self._number = max(self._number, *numbers, 0)
        for _, (number, unit, state) in cells:
            own = self._number + 1 + cell_len(unit) if unit else min(_LONGEST, cell_len(number))
            self._value = max(self._value, own)
            self._state = max(self._state, sum(cell_len(text) for text, _ in state))

    def _widths(self, courses: Sequence[Course], columns: int) -> Widths:
        name = max(len(course.signal.path) for course in courses)
        name = max(_LEAST_NAME, min(name, columns // 3))
        value, age, rate = self._value, _AGE, _RATE
        if name + value + age + rate + _LEAST_STATE + 4 * _GAP > columns:
            rate = 0
        if name + value + age + _LEAST_STATE + 3 * _GAP > columns:
            age = 0
        left = columns - sum(width + _GAP for width in (name, value, age, rate) if width)
        state = max(_LEAST_STATE, min(self._state, left * 3 // 5))
        room = min(_MOST_COURSE, left - state - _GAP)
        return Widths(name, self._number, value, age, rate, room if room >= _LEAST_COURSE else 0)

    # --- lines ---------------------------------------------------------------------------------

    def _head(self, widths: Widths, live: Live) -> Pieces:
        span = show_age(widths.course * live.period)
        texts = [
            _cell("signal", widths.name),
            _cell("value", widths.value),
            f"{'age':>{widths.age}}" if widths.age else "",
            f"{'per s':>{widths.rate}}" if widths.rate else "",
            _cell(f"course of {span}" if widths.course >= 16 else "course", widths.course),
            "state",
        ]
        quiet = self._tone(Tone.QUIET)
        return (((" " * _GAP).join(text for text in texts if text), quiet),)

    def _row(self, course: Course, cells: Cells, widths: Widths, now: Instant) -> Pieces:
        number, unit, state = cells
        value = f"{number:>{widths.number}} {unit}" if unit else number
        quiet, gap = self._tone(Tone.QUIET), (" " * _GAP, "")
        pieces: list[Piece] = [
            (_cell(course.signal.path, widths.name), ""),
            gap,
            (_cell(value, widths.value), self._tone(Tone.STRONG)),
            gap,
        ]
        if widths.age:
            age = "" if course.heard is None else show_coarse_age(now - course.heard)
            pieces += [(f"{age:>{widths.age}}", quiet), gap]
        if widths.rate:
            rate = "" if course.rate is None else f"{course.rate:.1f}"
            pieces += [(f"{rate:>{widths.rate}}", quiet), gap]
        if widths.course:
            pieces += [(spark(list(course.entries), course.signal, widths.course), ""), gap]
        return (*pieces, *state)

    def _remark(self, live: Live, remark: Remark) -> Pieces:
        at = f"{(remark.at - live.start) / SECOND:.1f} s "
        often = f" ({remark.times} times)" if remark.times > 1 else ""
        text = visible_line(f"{remark.node}: {remark.text}{often}")
        return ((at, self._tone(Tone.QUIET)), (text, self._tone(Tone.DOUBT)))

    def _foot(self, first: int, shown: int, count: int) -> Pieces:
        where = "" if shown == count else f"   {first + 1} to {first + shown} of {count}"
        return ((_KEYS + where, self._tone(Tone.QUIET)),)

    def _tone(self, tone: Tone) -> str:
        return self._colours.tone(tone)

    def _spelled(self, line: Pieces) -> Pieces:
        if not self._letters:
            return line
        return tuple((in_letters(text), style) for text, style in line)


def _joined(first: Pieces, second: Pieces) -> Pieces:
    if not any(text for text, _ in second):
        return first
    return (*first, ("  ", ""), *second) if first else second


def _cell(text: str, width: int) -> str:
    from rich.cells import cell_len, set_cell_size

    if not width:
        return ""
    if cell_len(text) <= width:
        return set_cell_size(text, width)
    return set_cell_size(text, width - 1) + "…"
