"""What `hil wire` prints: which layout it is or what came nearest, the octets, the fields."""

from collections.abc import Iterator, Sequence

from hil.cli.octet_map import octet_map, per_row
from hil.core.count import counted
from hil.report.line import Line, Tone
from hil.report.visible import visible_line
from hil.wire.dissection import Part
from hil.wire.identifying import Attempt

SHOWN_ATTEMPTS = 4
_RAW_WIDTH = 24


def fitting(attempts: Sequence[Attempt], payload: bytes, columns: int | None) -> Iterator[Line]:
    """Yield what a datagram is that fits a layout."""
    best, *others = [attempt for attempt in attempts if attempt.fits]
    size = counted(len(payload), "octet")
    role = best.codec.layout.role.value
    yield (
        (best.title, Tone.GOOD),
        (f": {_article(role)} {role} of {size}, as declared", Tone.PLAIN),
    )
    if others:
        named = ", ".join(one.title for one in others)
        yield ((f"  fits as well: {named}", Tone.DOUBT),)
    yield ()
    yield from _picture(best, payload, columns)


def misfitting(attempts: Sequence[Attempt], payload: bytes, columns: int | None) -> Iterator[Line]:
    """Yield why a datagram fits none of the layouts, and how far it fits the nearest one."""
    tried = counted(len(attempts), "layout")
    size = counted(len(payload), "octet")
    these = f"this {size} fits" if len(payload) == 1 else f"these {size} fit"
    yield ((f"{these} none of {tried}", Tone.BAD),)
    for turn, attempt in enumerate(attempts[:SHOWN_ATTEMPTS]):
        yield (
            ("  nearest:  " if turn == 0 else "            ", Tone.QUIET),
            (f"{attempt.title}: ", Tone.STRONG),
            (attempt.trouble, Tone.PLAIN),
        )
    if len(attempts) > SHOWN_ATTEMPTS:
        more = counted(len(attempts) - SHOWN_ATTEMPTS, "layout")
        yield ((f"            and {more} farther away", Tone.QUIET),)
    if not attempts or not payload:
        return
    yield ()
    nearest = attempts[0]
    yield ((f"as {nearest.title}:", Tone.STRONG),)
    yield from _picture(nearest, payload, columns)


def _picture(attempt: Attempt, payload: bytes, columns: int | None) -> Iterator[Line]:
    yield from octet_map(attempt.parts, payload, attempt.first, per_row(columns))
    yield ()
    yield from _table(attempt.parts)


def _table(parts: Sequence[Part]) -> Iterator[Line]:
    rows = [_cells(number, part) for number, part in enumerate(parts, start=1)]
    head = ("", "octets", "field", "raw", "means")
    widths = [max(len(row[at]) for row in (head, *rows)) for at in range(4)]

    def line(cells: Sequence[str]) -> str:
        shown = [cells[0].rjust(widths[0])]
        shown += [cell.ljust(width) for cell, width in zip(cells[1:4], widths[1:], strict=True)]
        return "  " + "  ".join(shown) + "  "

    yield ((line(head) + head[4], Tone.QUIET),)
    for cells, part in zip(rows, parts, strict=True):
        yield (
            (line(cells), Tone.PLAIN),
            (cells[4], Tone.PLAIN),
            (f"{', ' if cells[4] and part.wrong else ''}{part.wrong}", Tone.BAD),
        )


def _cells(number: int, part: Part) -> tuple[str, str, str, str, str]:
    last = part.offset + part.size - 1
    where = f"{part.offset}" if part.size == 1 else f"{part.offset} to {last}"
    raw = part.raw if len(part.raw) <= _RAW_WIDTH else f"{part.raw[: _RAW_WIDTH - 2]}.."
    return (
        str(number),
        f"{where}, {part.bits}" if part.bits else where,
        part.name,
        raw,
        visible_line(part.value),
    )


def _article(word: str) -> str:
    return "an" if word[0] in "aeiou" else "a"
