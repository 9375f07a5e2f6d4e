"""What `hil trend` prints: where each series goes, the most urgent first, and a chart of few.

▇▇▇▆▆▆▅▅▅▄▄▄▃▃  one sign a night, from the limit (or 0) up to the best seen
"""

from collections.abc import Iterator

from hil.core.count import counted
from hil.core.instant import Duration, show_duration
from hil.history.drift import FEWEST, Drift, nights
from hil.history.passages import Stability
from hil.history.series import Of, Point
from hil.history.trend import Trend
from hil.measure.trend_slope import LEAST
from hil.report.line import Line, Tone
from hil.report.visible import visible_line

_LEVELS = "▁▂▃▄▅▆▇█"
_COURSE = 50
_HEIGHT = 10
CHARTED = 2
"""So many series have a chart each."""
_NIGHTS_SHOWN = 365.0
CAPABLE = 1.33
"""Below this a process is usually called not capable (common practice, no source)."""


def trend_lines(trend: Trend) -> Iterator[Line]:
    """Yield each series, with a chart where they are few."""
    for drift in trend.drifts:
        yield from _told(drift, trend.steady.get(drift.series.case))
        if len(trend.drifts) <= CHARTED:
            yield ()
            yield from chart_lines(drift)
        yield ()
    others = trend.found - len(trend.drifts)
    if others:
        yield ((f"{others} others are less urgent (--most shows more)", Tone.QUIET),)


def _told(drift: Drift, steady: Stability | None) -> Iterator[Line]:
    series = drift.series
    yield (
        (f"{visible_line(series.title)}, {place(drift)}", Tone.STRONG),
        (f"  {visible_line(series.plan)}", Tone.QUIET),
    )
    nights = counted(len(drift.stretch), "run")
    yield (
        ("    ", Tone.PLAIN),
        *_course(drift),
        (f"  {series.of.value} {shown(drift, drift.now)}", Tone.PLAIN),
        (f", {nights}", Tone.QUIET),
    )
    yield ((f"    {where_to(drift)}", Tone.BAD if drift.worsens or drift.beyond else Tone.PLAIN),)
    if drift.capability is not None:
        cp, cpk = drift.capability.cp, drift.capability.cpk
        tone = Tone.DOUBT if cpk < CAPABLE else Tone.QUIET
        yield ((f"    Cp {cp:.2f}, Cpk {cpk:.2f}", tone),)
    since = drift.out_since
    if since is not None:
        yield ((f"    out of line since {since.run.when[:10]}: {_which(drift)}", Tone.DOUBT),)
    for mark in drift.marks:
        when = series.points[mark.place].run.when[:10]
        cut = "; judged from there on" if mark.cuts else ""
        yield ((f"    {mark.letter}  {when}  {visible_line(mark.text)}{cut}", Tone.QUIET),)
    if steady is not None and steady.flips:
        text = f"the case turned round {steady.flips} of {steady.chances} times ({100 * steady.rate:.0f} %)"
        yield ((f"    {text}", Tone.DOUBT),)


def place(drift: Drift) -> str:
    """Say which check it is: step, signal, and the form of what is wanted."""
    series = drift.series
    step = "precondition" if series.step == 0 else f"step {series.step}"
    return f"{step}: {series.signal} ({visible_line(series.form)})"


def where_to(drift: Drift) -> str:
    """Say in a sentence where a series goes."""
    if drift.beyond and not drift.worsens:
        return "is beyond its limit"
    if drift.slope is None:
        days = counted(nights(drift.stretch), "day")
        return f"too few days to say where it goes: {days}, it takes {LEAST}"
    slope = drift.slope
    per = f"{_signed(drift, slope.slope)} a night"
    if not (slope.falls or slope.rises):
        return f"no trend beyond doubt ({per})"
    way = "falls" if slope.falls else "rises"
    between = f"{_signed(drift, slope.low)} to {_signed(drift, slope.high)}"
    told = f"{way} by {per} ({between})"
    if drift.beyond:
        return f"{told} and is beyond its limit"
    if drift.reach is None:
        return told
    return f"{told}; {reaches(drift)}"


def reaches(drift: Drift) -> str:
    """Say when the limit is reached, in nights."""
    if drift.reach is None:
        return ""
    soonest, latest = (_nights(days) for days in (drift.reach.soonest, drift.reach.latest))
    if drift.reach.likely > _NIGHTS_SHOWN:
        return "reaches its limit in more than a year"
    likely = _nights(drift.reach.likely)
    return f"reaches its limit in about {likely} nights ({soonest} to {latest})"


def _nights(days: float) -> str:
    return f"{days:.0f}" if days <= _NIGHTS_SHOWN else "more than a year"


def shown(drift: Drift, figure: float) -> str:
    """Render a figure of a series."""
    if drift.series.of is Of.MARGIN:
        return f"{figure:+.2f}"
    if drift.series.of is Of.LATENCY or drift.series.unit == "ns":
        return show_duration(Duration(round(figure)))
    return f"{figure:.6g} {drift.series.unit}".rstrip()


def _signed(drift: Drift, slope: float) -> str:
    if drift.series.of is Of.MARGIN:
        return f"{slope:+.3f}"
    if drift.series.of is Of.VALUE and drift.series.unit != "ns":
        return f"{slope:+.3g} {drift.series.unit}".rstrip()
    text = shown(drift, slope)
    return text if text.startswith("-") else f"+{text}"


def _which(drift: Drift) -> str:
    charts, last = drift.charts, len(drift.stretch) - 1
    if charts is None:
        return ""
    names = [
        name
        for name, places in (
            ("EWMA", charts.ewma.outside),
            ("CUSUM rises", charts.cusum.risen),
            ("CUSUM falls", charts.cusum.fallen),
        )
        if last in places
    ]
    usual = shown(drift, charts.usual.level)
    return f"{', '.join(names)} (usual {usual}, of the first {charts.learnt} runs)"


def ends(drift: Drift) -> tuple[float, float]:
    """Return the bottom and the top of a chart: its limits are in it, and the 0 of a latency."""
    figures = [*(point.figure for point in drift.series.points), *limits(drift)]
    if drift.series.of is Of.LATENCY:
        figures.append(0.0)
    low, high = min(figures), max(figures)
    if low == high:
        spare = abs(low) * 0.05 or 1.0
        return low - spare, high + spare
    return low, high


def limits(drift: Drift) -> list[float]:
    """Return the limits of a series, the lower one first."""
    return [limit for limit in (drift.series.low, drift.series.high) if limit is not None]


def chart_ends(drift: Drift) -> tuple[float, float]:
    """Return bottom and top of a chart of its own: with the limit where that is near, else close up.

    Near is: beyond it, or on the way there within as many days as are looked at.
    """
    points = drift.series.points
    figures = [point.figure for point in points]
    ahead = points[-1].day - points[0].day
    near = drift.reach is not None and drift.reach.likely <= ahead
    low, high = min(figures), max(figures)
    if near or any(low <= limit <= high for limit in limits(drift)):
        return ends(drift)
    if low == high:
        return ends(drift)
    return low, high


def _course(drift: Drift) -> Iterator[tuple[str, Tone]]:
    low, high = ends(drift)
    top = len(_LEVELS) - 1
    for point in drift.series.points[-_COURSE:]:
        level = round((point.figure - low) / (high - low) * top)
        yield _LEVELS[max(0, min(top, level))], _tone(point)


def _tone(point: Point) -> Tone:
    return Tone.PLAIN if point.outcome == "pass" else Tone.BAD


def chart_lines(drift: Drift) -> Iterator[Line]:
    """Yield a chart: a column for each run, ● its figure, · the average of the EWMA chart."""
    points = drift.series.points[-2 * _COURSE :]
    skipped = len(drift.series.points) - len(points)
    low, high = chart_ends(drift)
    rows = [_row_of(point.figure, low, high) for point in points]
    averages = _averages(drift)[skipped:]
    labels = {0: shown(drift, high), _HEIGHT - 1: shown(drift, low)}
    inside = [limit for limit in limits(drift) if low <= limit <= high]
    limit_rows = {_row_of(limit, low, high): limit for limit in inside}
    labels |= {row: f"limit {shown(drift, limit)}" for row, limit in limit_rows.items()}
    width = max(len(label) for label in labels.values())
    for row in range(_HEIGHT):
        cells = []
        for column, point in enumerate(points):
            average = averages[column]
            if rows[column] == row:
                cells.append(("●", _tone(point)))
            elif average is not None and _row_of(average, low, high) == row:
                cells.append(("·", Tone.QUIET))
            else:
                cells.append(("╌" if row in limit_rows else " ", Tone.QUIET))
        yield (f"    {labels.get(row, ''):>{width}} ", Tone.QUIET), *cells
    letters = [" "] * len(points)
    for mark in drift.marks:
        if mark.place >= skipped:
            letters[mark.place - skipped] = mark.letter
    if any(letter != " " for letter in letters):
        yield (("    " + " " * (width + 1), Tone.PLAIN), ("".join(letters), Tone.DOUBT))
    first, last = (points[at].run.when[:10] for at in (0, -1))
    gap = max(1, len(points) - len(first) - len(last))
    yield ((f"    {'':>{width}} {first}{' ' * gap}{last}", Tone.QUIET),)
    if drift.limit is not None and not inside:
        told = f"the limit, {shown(drift, drift.limit)}, is off this chart"
        yield ((f"    {'':>{width}} {told}", Tone.QUIET),)
    if drift.charts is None:
        few = f"control charts take more than {FEWEST} runs"
        yield ((f"    {'':>{width}} {few}", Tone.QUIET),)


def _row_of(figure: float, low: float, high: float) -> int:
    share = (figure - low) / (high - low)
    return max(0, min(_HEIGHT - 1, round((1 - share) * (_HEIGHT - 1))))


def _averages(drift: Drift) -> list[float | None]:
    if drift.charts is None:
        return [None] * len(drift.series.points)
    return [*[None] * drift.first, *drift.charts.ewma.averages]
