"""The points of alarm specs on the terminal: where they should be, and where they are.

    Feed pressure: feedline.pressure in bar
    edge        direction  specified  measured         interval      difference  verdict
    high trip   rising          3.60  3.5950 ± 0.0058  3.59 to 3.60  0           pass

A table wider than the page breaks its texts within their columns; numbers are never broken.
"""

import textwrap
from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from pathlib import Path

from hil.core.event import AlarmPoint
from hil.report import alarm_csv
from hil.report.alarm_rows import ProvenSpec, outcome_of
from hil.report.line import Line, Tone
from hil.report.summary import TONES
from hil.report.visible import visible_line

PAGE = 100
NARROWEST = 12
HEADS = ("edge", "direction", "specified", "measured", "interval", "difference", "verdict")
NONE = "–"
_RIGHT = {2}
Cell = tuple[str, Tone]


def alarm_table(specs: Sequence[ProvenSpec], folder: Path, page: int = PAGE) -> list[Line]:
    """Return the tables of all specs; nothing where there is no row.

    What `folder` has of their files is named below them.
    """
    shown = [spec for spec in specs if spec.rows]
    if not shown:
        return []
    lines: list[Line] = [()]
    for spec in shown:
        name = visible_line(spec.name)
        about = visible_line(f": {spec.signal} in {spec.unit}")
        lines += [((name, Tone.STRONG), (about, Tone.PLAIN)), *_table(spec.rows, page), ()]
    files = [alarm_csv.NAME, *(spec.picture for spec in shown if spec.told is not None)]
    there = [name for name in files if (folder / name).exists()]
    if there:
        lines.append(((f"beside the evidence: {', '.join(there)}", Tone.QUIET),))
    return lines


def measured_text(row: AlarmPoint) -> str:
    """Say where a point was found: the mean with its uncertainty, to two digits of that.

    GUM (JCGM 100:2008) 7.2.6 has two digits suffice for an uncertainty.
    """
    mean, doubt = _to_doubt(row.mean, row), _to_doubt(row.uncertainty, row)
    if mean is None or doubt is None:
        return row.mean or NONE
    return f"{mean:f} ± {doubt:f}"


def interval_text(row: AlarmPoint) -> str:
    """Say within which interval a point lies; an end that was not found is left open."""
    if row.low and row.high:
        return f"{row.low} to {row.high}"
    if row.low:
        return f"above {row.low}"
    return f"below {row.high}" if row.high else NONE


def difference_text(row: AlarmPoint) -> str:
    """Say how far a point is off, with its sign, to the last digit of the uncertainty."""
    exact = _number(row.difference)
    if exact is None:
        return row.difference or NONE
    if exact == 0:
        return "0"
    rounded = _to_doubt(row.difference, row)
    return f"{exact if rounded is None else rounded:+f}"


def _to_doubt(text: str, row: AlarmPoint) -> Decimal | None:
    """Round a number to two digits of the uncertainty; None where there is no such."""
    value, doubt = _number(text), _number(row.uncertainty)
    if value is None or doubt is None or doubt <= 0:
        return None
    try:
        return value.quantize(Decimal(1).scaleb(doubt.adjusted() - 1), ROUND_HALF_EVEN)
    except InvalidOperation:
        return None


def _number(text: str) -> Decimal | None:
    try:
        value = Decimal(text)
    except InvalidOperation:
        return None
    return value if value.is_finite() else None


def _table(rows: Sequence[AlarmPoint], page: int) -> list[Line]:
    cells = [[(word, Tone.QUIET) for word in HEADS], *(_cells(row) for row in rows)]
    widths = [max(len(row[at][0]) for row in cells) for at in range(len(HEADS))]
    room = page - sum(widths[1:]) - 2 * (len(widths) - 1)
    widths[0] = min(widths[0], max(NARROWEST, room))
    return [line for row in cells for line in _set(row, widths)]


def _cells(row: AlarmPoint) -> list[Cell]:
    outcome = outcome_of(row)
    tone = Tone.PLAIN if row.difference in ("", "0") else TONES[outcome]
    texts = (
        (f"{row.alarm} {row.point}", Tone.PLAIN),
        (row.way or NONE, Tone.PLAIN),
        (row.wanted or NONE, Tone.PLAIN),
        (measured_text(row), Tone.PLAIN),
        (interval_text(row), Tone.PLAIN),
        (difference_text(row), tone),
        (outcome.word, TONES[outcome]),
    )
    return [(visible_line(text), tone) for text, tone in texts]


def _set(row: list[Cell], widths: list[int]) -> list[Line]:
    """Set one row in its columns; what of the first text finds no room goes on below."""
    first = textwrap.wrap(row[0][0], widths[0], subsequent_indent="  ") or [""]
    pieces: list[Cell] = [(first[0].ljust(widths[0]), row[0][1])]
    for at, (text, tone) in enumerate(row[1:], 1):
        set_text = text.rjust(widths[at]) if at in _RIGHT else text.ljust(widths[at])
        pieces.append((f"  {set_text}", tone))
    last, tone = pieces[-1]
    pieces[-1] = (last.rstrip(), tone)
    return [tuple(pieces), *(((more, row[0][1]),) for more in first[1:])]
