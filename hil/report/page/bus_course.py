"""How the bus went over the run: every fact of its health that is a quality, or that changed.

    told        1 s: 6 of 7        5 s: not measured        9 s: 4 of 7
    shown       a line that holds each value until the next, dashes where nothing was measured

What was not measured, or is not supported, is no number: it is never drawn as zero.
"""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar

from hil.core.event import BusHealth, Event
from hil.core.instant import Duration, Instant, show_duration
from hil.report.page.decimate import columns
from hil.report.page.section import Shown
from hil.report.result import RunResult

WIDTH, HEIGHT, EDGE = 240, 36, 4
"""The size of a line's picture, and how far from its edge the line stays."""

ROWS = 200
WORDS = 6
"""So many rows, and changes of a fact in words, are shown; the journal has all of them."""

_NUMBER = re.compile(r"(-?\d+(?:\.\d+)?)(?: of (\d+(?:\.\d+)?))?(?: |$)")
_QUALITY = re.compile(r"qualit|sqi", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One fact over the run.

    `lines` and `gaps` are paths in a picture of WIDTH by HEIGHT; `changes` are (ns, words) of a
    fact in words.  `moved` says that it did not stay as it was.
    """

    who: str
    what: str
    first: str
    last: str
    lowest: str
    highest: str
    unmeasured: str
    moved: bool
    lines: tuple[str, ...]
    gaps: tuple[str, ...]
    changes: tuple[tuple[int, str], ...]
    words: str


class BusCourse:
    """The section."""

    kinds: ClassVar[frozenset[str]] = frozenset({BusHealth.kind})
    name: ClassVar[str] = "course"
    title: ClassVar[str] = "The bus over the run"

    def __init__(self) -> None:
        self._told: dict[tuple[str, str], list[tuple[Instant, str]]] = {}

    def receive(self, event: Event) -> None:
        if isinstance(event, BusHealth):
            for what, how in event.facts:
                told = self._told.setdefault((event.who, what), [])
                if not told or told[-1][1] != how:
                    told.append((event.at, how))

    def shown(self, result: RunResult) -> Shown | None:
        end = max(result.last_at, 1)
        courses = [
            _course(who, what, told, end)
            for (who, what), told in self._told.items()
            if len(told) > 1 or _QUALITY.search(what)
        ]
        if not courses:
            return None
        courses.sort(key=lambda one: not one.moved)
        return {"courses": courses[:ROWS], "more": max(0, len(courses) - ROWS)}


@dataclass(frozen=True, slots=True)
class _Piece:
    """From `start` to `end` it was told so; `number` is None where that is no number."""

    start: int
    end: int
    how: str
    number: float | None


def _course(who: str, what: str, told: Sequence[tuple[Instant, str]], end: int) -> Course:
    pieces = list(_pieces(told, end))
    numbers = [piece.number for piece in pieces if piece.number is not None]
    low, high = min(numbers, default=0.0), max(numbers, default=0.0)
    shown = {piece.number: piece.how for piece in pieces}
    tops = [float(m[2]) for _, how in told if (m := _NUMBER.match(how)) and m[2] is not None]
    tops = [top for top in tops if math.isfinite(top)]
    least, most = (min(0.0, low), max(high, *tops)) if tops else (low, high)
    lasting = sum(piece.end - piece.start for piece in pieces if piece.number is None)
    measured = bool(numbers)
    words = f"{what} of {who}: {told[0][1]} first, {told[-1][1]} last"
    if measured:
        words += f", {shown[low]} at the lowest, {shown[high]} at the highest"
    gap = f"{_whole(lasting)} of {_whole(end)}" if measured and lasting else ""
    return Course(
        who=who,
        what=what.removeprefix(f"{who}."),
        first=told[0][1],
        last=told[-1][1],
        lowest=shown[low] if measured else "",
        highest=shown[high] if measured else "",
        unmeasured=gap,
        moved=len(told) > 1,
        lines=tuple(_lines(pieces, end, least, most)) if measured else (),
        gaps=tuple(_gaps(pieces, end)) if measured else (),
        changes=() if measured else tuple(told[:WORDS]),
        words=f"{words}{f'; no number for {gap}' if gap else ''}",
    )


def _pieces(told: Sequence[tuple[Instant, str]], end: int) -> Iterator[_Piece]:
    ends = [at for at, _ in told[1:]]
    for (start, how), until in zip(told, [*ends, max(end, told[-1][0])], strict=True):
        match = _NUMBER.match(how)
        number = None if match is None else float(match[1])
        real = number is not None and math.isfinite(number)
        yield _Piece(start, until, how, number if real else None)


def _lines(pieces: Sequence[_Piece], end: int, least: float, most: float) -> Iterator[str]:
    """Yield a path for each stretch in which there were numbers."""
    run: list[tuple[float, float]] = []
    until = 0.0
    for piece in [*pieces, _Piece(end, end, "", None)]:
        if piece.number is None:
            if run:
                yield _path(run, until)
            run = []
            continue
        part = (piece.number - least) / (most - least) if most > least else 0.5
        run.append((_x(piece.start, end), HEIGHT - EDGE - part * (HEIGHT - 2 * EDGE)))
        until = _x(piece.end, end)


def _path(run: Sequence[tuple[float, float]], until: float) -> str:
    parts = [f"M{run[0][0]:.1f} {run[0][1]:.1f}"]
    for column in columns(run):
        parts.append(f"H{column.x}")
        parts += [f"V{y:.1f}" for y in (column.first, column.low, column.high, column.last)]
    return "".join([*parts, f"H{until:.1f}"])


def _gaps(pieces: Sequence[_Piece], end: int) -> Iterator[str]:
    for piece in pieces:
        if piece.number is None:
            left = min(_x(piece.start, end), WIDTH - 2)
            right = max(_x(piece.end, end), left + 2)
            yield f"M{left:.1f} {HEIGHT - EDGE} H{right:.1f}"


def _x(at: int, end: int) -> float:
    return WIDTH * min(1.0, at / end)


def _whole(nanoseconds: int) -> str:
    return show_duration(Duration(nanoseconds))
