"""Where a series goes: control charts, the robust slope, and when it reaches its limit.

    marks      nights on which something else changed: firmware, serial number, bench file, the
               limits of the plan, this tool
    stretch    what is judged: the nights since the limits or the node itself last changed, for
               from then on it is another quantity
    usual      the first third of the stretch, six nights at least and twenty at most; the charts
               hold the rest against its level and spread
    night      a day: a rack that ran five times in one day drifted for one day, and a slope
               needs five of them

Pure: it is given everything it needs.
"""

import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from hil.history.series import Point, Series
from hil.measure.baseline import Baseline, baseline
from hil.measure.capability import Capability, capability
from hil.measure.cusum import LIMIT, SLACK, CusumChart, cusum_chart
from hil.measure.ewma import EwmaChart, ewma_chart
from hil.measure.trend_slope import LEAST, Reach, Slope, reach, theil_sen

FEWEST = 6
"""With fewer nights nobody can say what is usual."""

MOST = 20

ROUNDING = 1e-9
"""A series that never varied (virtual time) is held against this share of itself: what is less
comes from binary fractions."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """What changed at a point (its place counts from 0): a letter for charts, and in words."""

    place: int
    letter: str
    text: str
    cuts: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Charts:
    """The control charts of a stretch, from its first point on; the first `learnt` taught them."""

    usual: Baseline
    learnt: int
    ewma: EwmaChart
    cusum: CusumChart


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """A series and what can be said of it; `first` is where the stretch begins.

    `charts` is None where the stretch is too short; `slope` as well.  `limit` is the one the series
    goes to, or else the nearer one; `reach` (in days) is None where it does not go there beyond
    doubt; `capability` where there are not two limits, or no spread.
    """

    series: Series
    marks: tuple[Mark, ...]
    first: int
    charts: Charts | None
    slope: Slope | None
    limit: float | None
    reach: Reach | None
    capability: Capability | None

    @property
    def stretch(self) -> Sequence[Point]:
        """The points that are judged."""
        return self.series.points[self.first :]

    @property
    def now(self) -> float:
        """The newest figure."""
        return self.series.points[-1].figure

    @property
    def beyond(self) -> bool:
        """Whether the newest figure is beyond its limit."""
        low, high = self.series.low, self.series.high
        return (low is not None and self.now < low) or (high is not None and self.now > high)

    @property
    def worsens(self) -> bool:
        """Whether the series goes towards a limit, beyond doubt."""
        if self.slope is None:
            return False
        falls = self.slope.falls and self.series.low is not None
        return falls or (self.slope.rises and self.series.high is not None)

    @property
    def out_since(self) -> Point | None:
        """The first of the latest points that a chart says are out of line; None where none is."""
        if self.charts is None:
            return None
        out = set(self.charts.ewma.outside) | {*self.charts.cusum.risen, *self.charts.cusum.fallen}
        place = len(self.stretch) - 1
        if place not in out:
            return None
        while place - 1 in out:
            place -= 1
        return self.stretch[place]


def drift_of(series: Series) -> Drift:
    """Return what can be said of a series."""
    marks = tuple(_marks(series.points))
    first = max((mark.place for mark in marks if mark.cuts), default=0)
    stretch = series.points[first:]
    slope = _slope(stretch)
    limit = _limit(series, slope)
    meets = None
    if slope is not None and limit is not None:
        meets = reach(slope, stretch[-1].day, limit)
    return Drift(
        series=series,
        marks=marks,
        first=first,
        charts=_charts([point.figure for point in stretch]),
        slope=slope,
        limit=limit,
        reach=meets,
        capability=_capability(series, [point.figure for point in stretch]),
    )


def urgency(drift: Drift) -> tuple[float, ...]:
    """Return what to sort by: beyond the limit, soon there, out of line, closest."""
    soon = drift.reach.likely if drift.reach is not None else float("inf")
    limit = drift.limit
    room = float("inf") if limit is None else abs(drift.now - limit) / (abs(limit) or 1.0)
    return (not drift.beyond, soon, not drift.worsens, drift.out_since is None, room)


def _limit(series: Series, slope: Slope | None) -> float | None:
    """Return the limit that a series goes to; where it goes to none, the nearer one."""
    limits = [limit for limit in (series.low, series.high) if limit is not None]
    if len(limits) < 2:
        return limits[0] if limits else None
    if slope is not None and (slope.falls or slope.rises):
        return limits[0] if slope.falls else limits[1]
    return min(limits, key=lambda limit: abs(series.points[-1].figure - limit))


def _capability(series: Series, figures: Sequence[float]) -> Capability | None:
    if series.low is None or series.high is None or len(figures) <= FEWEST:
        return None
    sigma = statistics.stdev(figures)
    if sigma <= ROUNDING * max(abs(series.low), abs(series.high)) or series.low >= series.high:
        return None
    mean = statistics.fmean(figures)
    return capability(mean=mean, sigma=sigma, low=series.low, high=series.high)


def _marks(points: Sequence[Point]) -> list[Mark]:
    found = []
    for place, (old, new) in enumerate(pairwise(points), 1):
        facts = (
            ("S", "serial number", old.serial, new.serial, True),
            ("F", "firmware", old.firmware, new.firmware, False),
        )
        for letter, word, was, is_, cuts in facts:
            if was and is_ and was != is_:
                text = f"{word} {was} → {is_}"
                found.append(Mark(place=place, letter=letter, text=text, cuts=cuts))
        if old.ask != new.ask:
            text = "the plan wants something else"
            found.append(Mark(place=place, letter="P", text=text, cuts=True))
        if old.run.bench_digest != new.run.bench_digest:
            text = "the bench file was edited"
            found.append(Mark(place=place, letter="B", text=text, cuts=False))
        if old.run.tool != new.run.tool:
            text = f"{old.run.tool} → {new.run.tool}"
            found.append(Mark(place=place, letter="T", text=text, cuts=False))
    return found


def _charts(figures: Sequence[float]) -> Charts | None:
    if len(figures) <= FEWEST:
        return None
    learnt = min(MOST, max(FEWEST, len(figures) // 3))
    usual = baseline(figures[:learnt])
    least = ROUNDING * max(abs(usual.level), ROUNDING)
    usual = replace(usual, sigma=max(usual.sigma, least))
    return Charts(
        usual=usual,
        learnt=learnt,
        ewma=ewma_chart(figures, target=usual.level, sigma=usual.sigma),
        cusum=cusum_chart(
            figures,
            target=usual.level,
            slack=SLACK * usual.sigma,
            limit=LIMIT * usual.sigma,
        ),
    )


def _slope(points: Sequence[Point]) -> Slope | None:
    if nights(points) < LEAST:
        return None
    return theil_sen([point.day for point in points], [point.figure for point in points])


def nights(points: Sequence[Point]) -> int:
    """Return on how many days runs were made; minutes between two of them are no night."""
    return len({round(point.day) for point in points})
