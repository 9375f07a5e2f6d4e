"""The picture of an alarm spec as SVG: where its points should be, and where they were found.

    one lane for each alarm     the dead band between the specified trip and reset point
    the bands                   in their colours, each with its name and a pattern of its own
    one row for each point      enlarged: tolerance, interval, mean, verdict

Words say everything, so that a black-and-white print and a screen reader lose nothing.
"""

from collections.abc import Sequence

from hil.core.event import AlarmPoint, AlarmSpec
from hil.core.verdict import Outcome
from hil.report.alarm_rows import outcome_of
from hil.report.alarm_scale import Scale, around, number
from hil.report.alarm_table import difference_text, interval_text, measured_text
from hil.report.alarm_zoom import ROW, lane_legend, legend, row_of_point
from hil.report.drawing import (
    INK,
    PAPER,
    PATTERNS,
    SOFT,
    box,
    definitions,
    disc,
    fit,
    said,
    stroke,
    text,
    wide,
)

WIDTH, LEFT, RIGHT = 960, 120, 76
TOP, LANE, BAR = 96, 34, 58
UNKNOWN = "#e6e6e6"


def draw(spec: AlarmSpec, rows: Sequence[AlarmPoint]) -> str:
    """Return the picture of a spec with its rows, as a whole SVG file."""
    low, high = number(spec.low) or 0.0, number(spec.high) or 0.0
    levels = [level for _, _, _, wanted in spec.points if (level := number(wanted)) is not None]
    found = [level for row in rows if (level := number(row.mean)) is not None]
    scale = around([*levels, *found], low, high, LEFT, WIDTH - LEFT - RIGHT)
    bar = TOP + LANE * len(_alarms(spec)) + 8
    bands, names, below = _bands(spec, scale, bar)
    first = below + 68
    height = first + ROW * len(rows) + 16
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height:.0f}" '
        f'width="{WIDTH}" height="{height:.0f}" role="img" aria-labelledby="title desc" '
        'font-family="sans-serif" font-size="12">',
        f'<title id="title">{said(f"Alarm spec {spec.spec}")}</title>',
        f'<desc id="desc">{said(_description(spec, rows))}</desc>',
        definitions(),
        box(0, 0, WIDTH, height, PAPER),
        text(16, 30, fit(spec.spec, WIDTH - 32, 18), size=18, weight="bold"),
        text(16, 50, fit(_subtitle(spec, rows), WIDTH - 32, 13), size=13, fill=SOFT),
        text(16, TOP - 14, "As specified", size=13, weight="bold"),
        *lane_legend(TOP - 14),
        *bands,
        *_lanes(spec, rows, scale, bar),
        *names,
        text(16, first - 22, "As found, each point enlarged", size=13, weight="bold"),
        *legend(first - 22),
    ]
    for place, row in enumerate(rows):
        parts += row_of_point(row, number(spec.tolerance), first + ROW * place)
    return "\n".join([*parts, "</svg>", ""])


def _alarms(spec: AlarmSpec) -> list[str]:
    return list(dict.fromkeys(point[0] for point in spec.points))


def _subtitle(spec: AlarmSpec, rows: Sequence[AlarmPoint]) -> str:
    passed = sum(outcome_of(row) is Outcome.PASS for row in rows)
    return (
        f"{spec.signal}, {spec.low} to {spec.high} {spec.unit}; {passed} of {len(rows)} points pass"
    )


# --- the bands ------------------------------------------------------------------------------------


def _bands(spec: AlarmSpec, scale: Scale, top: float) -> tuple[list[str], list[str], float]:
    """Return the bands with their axis, their names, and the line below all that."""
    parts: list[str] = []
    names: list[str] = []
    outside: list[tuple[float, str]] = []
    for place, band in enumerate(spec.bands):
        name, colour, rgb, low, high, _ = band
        left, right = scale.at(number(low) or 0.0), scale.at(number(high) or 0.0)
        parts.append(box(left, top, right - left, BAR, rgb or UNKNOWN, INK))
        if name != spec.normal:
            pattern = tuple(PATTERNS)[place % len(PATTERNS)]
            parts.append(box(left, top, right - left, BAR, f"url(#{pattern})"))
        room = max(1.1 * wide(name, 14), wide(colour, 12)) + 14
        middle = (left + right) / 2
        if room + 8 > right - left:
            outside.append((middle, f"{name}, {colour}"))
            continue
        names.append(box(middle - room / 2, top + 9, room, BAR - 18, PAPER, SOFT))
        names.append(text(middle, top + 26, name, "middle", 14, "bold"))
        names.append(text(middle, top + 42, colour, "middle"))
    parts += _axis(spec, scale, top + BAR)
    line = top + BAR + 20
    for middle, words in outside:
        line += 18
        half = wide(words, 12) / 2
        centre = min(max(middle, LEFT + half), WIDTH - RIGHT - half)
        names.append(stroke(f"M{middle:.1f} {top + BAR - 8:.1f} V{line - 11:.1f}"))
        names.append(text(centre, line, words, "middle"))
    return parts, names, line + 14


def _axis(spec: AlarmSpec, scale: Scale, top: float) -> list[str]:
    parts = [text(LEFT - 26, top + 18, spec.unit, "end")]
    for tick in scale.ticks():
        parts.append(stroke(f"M{scale.at(tick):.1f} {top:.1f} v5"))
        parts.append(text(scale.at(tick), top + 18, f"{tick:.10g}", "middle"))
    if scale.low > (number(spec.low) or 0.0):
        parts.append(text(LEFT - 10, top - BAR / 2 + 4, f"◄ to {spec.low}", "end", 11, fill=SOFT))
    if scale.high < (number(spec.high) or 0.0):
        words = f"to {spec.high} ►"
        parts.append(text(WIDTH - RIGHT + 8, top - BAR / 2 + 4, words, size=11, fill=SOFT))
    return parts


# --- what is specified ----------------------------------------------------------------------------


def _lanes(spec: AlarmSpec, rows: Sequence[AlarmPoint], scale: Scale, bar: float) -> list[str]:
    parts: list[str] = []
    for place, alarm in enumerate(_alarms(spec)):
        points = {point: (way, level) for name, point, way, level in spec.points if name == alarm}
        top = TOP + LANE * place
        means = [number(row.mean) for row in rows if row.alarm == alarm]
        found = [scale.at(mean) for mean in means if mean is not None]
        parts += _lane(spec, alarm, points, scale, (top, bar), found)
        parts += [disc(where, top + 15, 3.5, PAPER) for where in found]
    return parts


def _lane(
    spec: AlarmSpec,
    alarm: str,
    points: dict[str, tuple[str, str]],
    scale: Scale,
    lines: tuple[float, float],
    found: list[float],
) -> list[str]:
    """Return one alarm: its dead band, its points, and dotted lines down to the bands."""
    top, bar = lines
    way, trip = points.get("trip", ("", ""))
    _, reset = points.get("reset", ("", trip))
    trip_at, reset_at = scale.at(number(trip) or 0.0), scale.at(number(reset) or 0.0)
    rising = way == "rising"
    width = abs(trip_at - reset_at)
    parts = [
        text(LEFT - 10, top + 19, fit(alarm, LEFT - 26, 13), "end", 13, "bold"),
        box(min(trip_at, reset_at), top + 8, width, 14, "#dddddd", SOFT),
    ]
    for where, dashes, weight in ((trip_at, "", 2.5), (reset_at, "5 3", 2)):
        parts.append(stroke(f"M{where:.1f} {top + 22:.1f} V{bar + BAR:.1f}", SOFT, 1, "2 3"))
        parts.append(stroke(f"M{where:.1f} {top + 4:.1f} v22", INK, weight, dashes))
    trips = f"trips {way} at {trip} {spec.unit}"
    clears = f"clears at {reset} {spec.unit}"
    if trip == reset:
        clears += ", no dead band"
    places = (trip_at, reset_at, *found)
    after, before = (trips, clears) if rising else (clears, trips)
    return [*parts, *_beside((before, after), [min(places), max(places)], top + 19)]


def _beside(words: tuple[str, str], ends: list[float], line: float) -> list[str]:
    """Set words left and right of the two ends; without room there, together where there is."""
    before, after = words
    both = f"{before}; {after}"
    left_fits = ends[0] - 8 - wide(before, 12) >= LEFT
    right_fits = ends[1] + 8 + wide(after, 12) <= WIDTH
    if left_fits and right_fits:
        return [text(ends[0] - 8, line, before, "end"), text(ends[1] + 8, line, after)]
    if wide(both, 12) + 16 <= ends[1] - ends[0]:
        return [text(sum(ends) / 2, line, both, "middle")]
    if ends[1] + 8 + wide(both, 12) <= WIDTH:
        return [text(ends[1] + 8, line, both)]
    return [text(ends[0] - 8, line, both, "end")]


# --- in words -------------------------------------------------------------------------------------


def _description(spec: AlarmSpec, rows: Sequence[AlarmPoint]) -> str:
    bands = "; ".join(f"{name} is {colour}: {limits}" for name, colour, *_, limits in spec.bands)
    points = "; ".join(
        f"{row.alarm} {row.point}, {row.way}: specified {row.wanted}, measured "
        f"{measured_text(row)}, interval {interval_text(row)}, difference {difference_text(row)} "
        f"{row.unit}: {outcome_of(row).word}"
        for row in rows
    )
    return f"{_subtitle(spec, rows)}. Bands: {bands}. Points: {points}."
