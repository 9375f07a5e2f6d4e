"""A little picture of a datagram: its octets, and under them the fields that they are.

octet   0  1  2  3  4  5  6  7  8  9 10 11
       31 01 02 bc 00 01 11 7c 00 01 47 48
        1  2 └─3─┘ └─uptime──┘ └─5─┘ └────
                                     ^^ first difference

A number stands where a name has no room; the table of the fields has the same numbers.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from hil.report.line import Line, Tone
from hil.wire.dissection import Part

MOST = 640
"""So many octets are drawn at most: beyond that a picture shows nobody anything."""

_MARGIN = 7


class Span(NamedTuple):
    """Octets that belong together, and what is written under them."""

    offset: int
    size: int
    name: str
    number: str


def per_row(columns: int | None) -> int:
    """Return how many octets stand in a row of a window; None for none that has a width.

    >>> per_row(None), per_row(80), per_row(40), per_row(5)
    (16, 16, 8, 4)
    """
    room = 16 if columns is None else (columns - _MARGIN) // 3
    return next((size for size in (16, 8) if size <= room), 4)


def octet_map(
    parts: Sequence[Part], payload: bytes, first: int | None, per_row: int
) -> Iterator[Line]:
    """Yield the lines of the picture; `first` is the first octet that differs."""
    spans = _spans(parts)
    end = max([len(payload), *(span.offset + span.size for span in spans)])
    wrong = {
        at
        for part in parts
        if part.wrong and part.raw
        for at in range(max(part.offset, part.first), part.offset + part.size)
    }
    for row in range(0, min(end, MOST), per_row):
        width = min(per_row, end - row)
        yield _numbers(row, width)
        yield _octets(payload, row, width, wrong)
        yield _fields(spans, row, width)
        yield from _marks(wrong, row, width, first, len(payload))
    if end > MOST:
        yield ((f"  and {end - MOST} octets more", Tone.QUIET),)


def _spans(parts: Sequence[Part]) -> list[Span]:
    """Return the octets of each part; the parts of one bit field are one span."""
    spans: list[Span] = []
    for number, part in enumerate(parts, start=1):
        last = spans[-1] if spans else None
        if last is not None and last.offset == part.offset:
            begun = last.number.partition("-")[0]
            spans[-1] = Span(last.offset, last.size, "", f"{begun}-{number}")
        else:
            spans.append(Span(part.offset, part.size, part.name, str(number)))
    return spans


def _numbers(row: int, width: int) -> Line:
    word = "octet" if row == 0 else ""
    return (
        (f"{word:<{_MARGIN}}" + " ".join(f"{at:>2}" for at in range(row, row + width)), Tone.QUIET),
    )


def _octets(payload: bytes, row: int, width: int, wrong: set[int]) -> Line:
    pieces = [(" " * _MARGIN, Tone.PLAIN)]
    for at in range(row, row + width):
        shown = f"{payload[at]:02x}" if at < len(payload) else "--"
        tone = Tone.BAD if at in wrong else Tone.STRONG if at < len(payload) else Tone.QUIET
        pieces += [(shown, tone), (" ", Tone.PLAIN)]
    return tuple(pieces[:-1])


def _fields(spans: Sequence[Span], row: int, width: int) -> Line:
    text = " " * _MARGIN
    for span in spans:
        begin, end = max(span.offset, row), min(span.offset + span.size, row + width)
        if begin < end:
            text = text.ljust(_MARGIN + 3 * (begin - row)) + _label(span, begin, end)
    return ((text, Tone.QUIET),)


def _label(span: Span, begin: int, end: int) -> str:
    room = 3 * (end - begin) - 1
    if span.size == 1:
        return f"{span.number:>2}" if len(span.number) <= 2 else ""
    left = "└" if begin == span.offset else "─"
    right = "┘" if end == span.offset + span.size else "─"
    if not 0 < len(span.name) <= room - 4:
        name = span.number if len(span.number) <= room - 2 else ""
    else:
        name = span.name
    return f"{left}{name:─^{room - 2}}{right}"


def _marks(wrong: set[int], row: int, width: int, first: int | None, length: int) -> Iterator[Line]:
    here = [at for at in range(row, row + width) if at in wrong or at == first]
    if not here:
        return
    text = " " * _MARGIN
    for at in here:
        text = text.ljust(_MARGIN + 3 * (at - row)) + "^^"
    if first in here:
        text += " first missing octet" if first == length else " first difference"
    yield ((text, Tone.BAD),)
