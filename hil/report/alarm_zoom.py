"""One point of an alarm, enlarged: the tolerance around it, and where it was found."""

from hil.core.event import AlarmPoint
from hil.report.alarm_rows import outcome_of
from hil.report.alarm_scale import Scale, number
from hil.report.alarm_table import difference_text, interval_text
from hil.report.drawing import INK, PAPER, SOFT, box, disc, fit, stroke, text

ROW = 44
LEFT, WIDTH = 180.0, 400.0
WORDS = LEFT + WIDTH + 24
TOLERANCE = "#dbe4ee"
ARROWS = {"rising": "▲", "falling": "▼"}


def legend(line: float) -> list[str]:
    """Return what the marks mean."""
    middle = line - 4
    left = LEFT + 90
    return [
        stroke(f"M{left:.1f} {line - 12:.1f} v16", INK, 2.5),
        text(left + 8, line, "specified", size=11),
        box(left + 76, line - 10, 22, 12, TOLERANCE, SOFT),
        text(left + 104, line, "tolerance", size=11),
        *_interval(left + 174, left + 206, middle),
        text(left + 214, line, "found within", size=11),
        disc(left + 304, middle, 4, PAPER),
        text(left + 314, line, "mean", size=11),
    ]


def lane_legend(line: float) -> list[str]:
    """Return what the marks of the lanes mean."""
    left = LEFT + 90
    return [
        stroke(f"M{left:.1f} {line - 12:.1f} v16", INK, 2.5),
        text(left + 8, line, "trip point", size=11),
        stroke(f"M{left + 86:.1f} {line - 12:.1f} v16", INK, 2, "5 3"),
        text(left + 94, line, "reset point", size=11),
        box(left + 174, line - 10, 32, 12, "#dddddd", SOFT),
        text(left + 214, line, "dead band", size=11),
        disc(left + 304, line - 4, 3.5, PAPER),
        text(left + 314, line, "as found", size=11),
    ]


def row_of_point(row: AlarmPoint, tolerance: float | None, top: float) -> list[str]:
    """Return the row of a point, `ROW` high."""
    outcome = outcome_of(row)
    arrow = ARROWS.get(row.way, "")
    middle = top + 16
    return [
        text(16, top + 14, fit(f"{row.alarm} {row.point}", LEFT - 32, 13), size=13, weight="bold"),
        text(16, top + 29, f"{arrow} {row.way}", size=11, fill=SOFT),
        *_enlarged(row, tolerance or 0.0, top, middle),
        text(WORDS, top + 14, outcome.word.upper(), size=13, weight="bold"),
        text(WORDS + 122, top + 14, f"specified {row.wanted} {row.unit}", size=12),
        text(WORDS, top + 29, fit(_found(row), 336, 11), size=11, fill=SOFT),
    ]


def _found(row: AlarmPoint) -> str:
    if not (row.low or row.high):
        return row.text or "nothing was measured"
    words = f"found {interval_text(row)} {row.unit}"
    return f"{words}, difference {difference_text(row)}" if row.difference else words


def _enlarged(row: AlarmPoint, tolerance: float, top: float, middle: float) -> list[str]:
    wanted = number(row.wanted)
    if wanted is None:
        return []
    low, high, mean = number(row.low), number(row.high), number(row.mean)
    far = [abs(value - wanted) for value in (low, high, mean) if value is not None]
    reach = max([2.5 * tolerance, *(1.3 * value for value in far)]) or abs(wanted) or 1.0
    scale = Scale(wanted - reach, wanted + reach, LEFT, WIDTH)
    left, right = scale.at(wanted - tolerance), scale.at(wanted + tolerance)
    parts = [
        box(LEFT, top + 6, WIDTH, 20, PAPER, "#bbbbbb"),
        box(left, top + 6, right - left, 20, TOLERANCE, SOFT if tolerance else "none"),
        stroke(f"M{scale.at(wanted):.1f} {top:.1f} v32", INK, 2.5),
    ]
    if low is not None or high is not None:
        begin = LEFT if low is None else scale.at(low)
        end = LEFT + WIDTH if high is None else scale.at(high)
        parts += _interval(begin, end, middle, (low is not None, high is not None))
    if mean is not None:
        parts.append(disc(scale.at(mean), middle, 4, PAPER))
    return [*parts, *_ends(wanted, tolerance, scale, top + 38)]


def _ends(wanted: float, tolerance: float, scale: Scale, line: float) -> list[str]:
    """Return the numbers at the limits of the tolerance, where they have room."""
    left, right = scale.at(wanted - tolerance), scale.at(wanted + tolerance)
    if not tolerance or right - left < 90:
        return []
    return [
        text(left, line, f"{wanted - tolerance:.6g}", "middle", 10, fill=SOFT),
        text(right, line, f"{wanted + tolerance:.6g}", "middle", 10, fill=SOFT),
    ]


def _interval(
    begin: float, end: float, line: float, caps: tuple[bool, bool] = (True, True)
) -> list[str]:
    """Return a bar with a cap at each end that is known."""
    parts = [stroke(f"M{begin:.1f} {line:.1f} H{end:.1f}", INK, 4)]
    for where, known in zip((begin, end), caps, strict=True):
        if known:
            parts.append(stroke(f"M{where:.1f} {line - 7:.1f} v14", INK, 2))
    return parts
