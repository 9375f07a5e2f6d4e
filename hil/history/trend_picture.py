"""Trends as an SVG picture: for each series its figures with the EWMA chart, and its CUSUM below.

    ●  a run that passed       ■  one that did not        thick line   the EWMA average
    dashed lines               the limits of the EWMA chart
    long dashes                the robust slope, drawn on to the limit
    upright dotted lines       something else changed: its letter is explained in the text beside

What the picture shows stands in its `desc` in words as well.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from hil.history.drift import Charts, Drift
from hil.history.trend_table import chart_ends, limits, place, shown, where_to
from hil.report.drawing import INK, PAPER, SOFT, box, disc, fit, said, stroke, text

WIDTH = 900
_LEFT, _RIGHT = 110, 30
_HEAD, _PLOT, _GAP, _SUMS, _FOOT = 58, 190, 40, 80, 56
_EACH = _HEAD + _PLOT + _GAP + _SUMS + _FOOT
_PARTS = 200
_GOOD, _BAD, _LIMIT, _MEAN = "#1b5e8c", "#a3161f", "#a3161f", "#8a5a00"

Across = Callable[[float], float]
"""From a figure to a place on the paper."""


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where a plot lies on the paper, and what its axes mean."""

    top: float
    height: float
    x: Across
    y: Across

    @property
    def bottom(self) -> float:
        return self.top + self.height


def trend_picture(drifts: Sequence[Drift]) -> str:
    """Return the picture of some series, one below the other."""
    height = _EACH * len(drifts)
    described = " ".join(
        f"{drift.series.title}, {place(drift)}: {where_to(drift)}." for drift in drifts
    )
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height}" '
        f'viewBox="0 0 {WIDTH} {height}" role="img" font-family="sans-serif">',
        f"<title>Trends</title><desc>{said(described)}</desc>",
        box(0, 0, WIDTH, height, PAPER),
    ]
    for number, drift in enumerate(drifts):
        parts += _series(drift, number * _EACH)
    return "\n".join([*parts, "</svg>\n"])


def _series(drift: Drift, top: float) -> Iterator[str]:
    series = drift.series
    room = WIDTH - 2 * _RIGHT
    yield text(20, top + 22, fit(series.title, room, 15), size=15, weight="bold")
    yield text(20, top + 40, fit(f"{series.plan}, {place(drift)}", room, 12), fill=SOFT)
    across = _across(drift)
    low, high = chart_ends(drift)
    spare = (high - low) * 0.06
    plot_top = top + _HEAD
    plot = _Frame(
        plot_top, _PLOT, across, _scale(high + spare, low - spare, plot_top, plot_top + _PLOT)
    )
    yield from _plot(drift, plot, (low, high))
    if drift.charts is not None:
        yield from _sums(drift, drift.charts, plot)
    told = "; ".join(
        f"{mark.letter} {drift.series.points[mark.place].run.when[:10]} {mark.text}"
        for mark in drift.marks
    )
    yield text(20, top + _EACH - 28, fit(where_to(drift), room, 12), weight="bold")
    yield text(20, top + _EACH - 12, fit(told, room, 12), fill=SOFT)


def _ahead(drift: Drift) -> float:
    """Return for how many days the slope is drawn on: to its limit, where that is in sight."""
    limit, (low, high) = drift.limit, chart_ends(drift)
    if drift.reach is None or limit is None or not low <= limit <= high:
        return 0.0
    points = drift.series.points
    return min(drift.reach.likely, points[-1].day - points[0].day)


def _across(drift: Drift) -> Across:
    """Return the scale of days, with room for the line on to the limit."""
    points = drift.series.points
    first, last = points[0].day, points[-1].day + _ahead(drift)
    return _scale(first, last if last > first else first + 1, _LEFT, WIDTH - _RIGHT)


def _scale(first: float, last: float, begin: float, end: float) -> Across:
    return lambda figure: begin + (figure - first) / (last - first) * (end - begin)


def _plot(drift: Drift, frame: _Frame, reach: tuple[float, float]) -> Iterator[str]:
    points = drift.series.points
    yield box(_LEFT, frame.top, WIDTH - _LEFT - _RIGHT, frame.height, "none", SOFT)
    for figure in reach:
        yield text(_LEFT - 8, frame.y(figure) + 4, shown(drift, figure), "end", fill=SOFT)
    inside = [limit for limit in limits(drift) if reach[0] <= limit <= reach[1]]
    if drift.limit is not None and not inside:
        words = f"the limit, {shown(drift, drift.limit)}, is off this picture"
        yield text(WIDTH - _RIGHT, frame.bottom + 29, words, "end", fill=_LIMIT)
    for limit in inside:
        level = frame.y(limit)
        yield stroke(f"M{_LEFT} {level:.1f} H{WIDTH - _RIGHT}", _LIMIT, 2)
        if limit not in reach:
            yield text(_LEFT - 8, level + 4, shown(drift, limit), "end", fill=_LIMIT)
        yield text(_LEFT + 6, level - 5, "limit", fill=_LIMIT)
    yield from _average(drift, frame)
    yield from _line(drift, frame)
    yield from _marks(drift, frame)
    for point in points:
        left, level = frame.x(point.day), frame.y(point.figure)
        if point.outcome == "pass":
            yield disc(left, level, 3.2, _GOOD)
        else:
            yield box(left - 4, level - 4, 8, 8, _BAD, INK)
    yield text(_LEFT, frame.bottom + 16, points[0].run.when[:10], fill=SOFT)
    yield text(
        frame.x(points[-1].day), frame.bottom + 16, points[-1].run.when[:10], "end", fill=SOFT
    )


def _average(drift: Drift, frame: _Frame) -> Iterator[str]:
    if drift.charts is None:
        return
    ewma = drift.charts.ewma
    days = [point.day for point in drift.stretch]
    for figures, width, dashes in (
        (ewma.averages, 2.5, ""),
        (ewma.lower, 1, "4 3"),
        (ewma.upper, 1, "4 3"),
    ):
        inside = [min(max(frame.y(f), frame.top), frame.bottom) for f in figures]
        yield stroke(_path(frame, days, inside), _MEAN, width, dashes)


def _path(frame: _Frame, days: Sequence[float], levels: Sequence[float]) -> str:
    steps = [f"{frame.x(day):.1f} {level:.1f}" for day, level in zip(days, levels, strict=True)]
    return f"M{' L'.join(steps)}"


def _line(drift: Drift, frame: _Frame) -> Iterator[str]:
    """Draw the slope, as far as it stays within the frame."""
    slope = drift.slope
    if slope is None or not (slope.falls or slope.rises):
        return
    first, last = drift.stretch[0].day, drift.stretch[-1].day + _ahead(drift)
    days = [first + (last - first) * part / _PARTS for part in range(_PARTS + 1)]
    seen = [day for day in days if frame.top <= frame.y(slope.at(day)) <= frame.bottom]
    if len(seen) > 1:
        ends = (seen[0], seen[-1])
        yield stroke(_path(frame, ends, [frame.y(slope.at(day)) for day in ends]), INK, 1.2, "9 5")


def _marks(drift: Drift, frame: _Frame) -> Iterator[str]:
    for mark in drift.marks:
        left = frame.x(drift.series.points[mark.place].day)
        yield stroke(f"M{left:.1f} {frame.top} V{frame.bottom}", SOFT, 1, "1 3")
        yield text(left + 3, frame.top + 13, mark.letter, weight="bold", fill=SOFT)


def _sums(drift: Drift, charts: Charts, plot: _Frame) -> Iterator[str]:
    """Draw both sums: what rose above the middle line, what fell below it."""
    cusum, top = charts.cusum, plot.bottom + _GAP
    most = max(cusum.limit * 1.5, *cusum.high, *cusum.low) or 1.0
    frame = _Frame(top, _SUMS, plot.x, _scale(most, -most, top, top + _SUMS))
    days = [point.day for point in drift.stretch]
    yield box(_LEFT, top, WIDTH - _LEFT - _RIGHT, _SUMS, "none", SOFT)
    yield text(_LEFT - 8, frame.y(0) + 4, "CUSUM", "end", fill=SOFT)
    for level in (cusum.limit, -cusum.limit):
        yield stroke(f"M{_LEFT} {frame.y(level):.1f} H{WIDTH - _RIGHT}", _LIMIT, 1, "4 3")
    for sums, sign in ((cusum.high, 1), (cusum.low, -1)):
        levels = [frame.y(sign * each) for each in sums]
        yield stroke(_path(frame, days, levels), _GOOD, 2)
