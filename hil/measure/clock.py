"""A node's clock on the tool's time, in bounds that hold, not as a guess.

The node stamps what it sends with its counter.  The tool knows when it asked and when the answer
came, and the node can only have sent it in between:

    tool      sent ─────╮        ╭───→ received         sent ≤ instant of the stamp ≤ received
    node                ╰→ stamp ╯

A clock that runs evenly is a straight line, instant = a + b · count.  Each exchange says: the line
passes above (stamp + 1, sent) and below (stamp, received) — the counter shows whole counts, so the
real one is less than one further on.  All lines that do are what the exchanges allow; the extremes
of that set are the bounds.  Every answer is exact, in fractions:

    slope b       every pair of one lower and one upper point limits it: (rᵢ − sⱼ) / (xᵢ − xⱼ)
    instant at x  greatest of U(b) + b·x, least of L(b) + b·x,  at the corners of the set
                  U(b) = min (rᵢ − b·xᵢ),  L(b) = max (sᵢ − b·xᵢ)

Only points of the two convex hulls can limit anything.  Source: linear programming and convex hull
bounds for clock offset and skew (Moon, Skelly and Towsley 1999; Zhang, Liu and Xia 2002; from
memory), here on both sides.

What is taken as given: the node's clock is even over the exchanges (`slack` is how far it may
stray), its rate is within `drift_limit` of what it should be, and nothing arrives sooner than
`least_transport` after it was sent.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from hil.measure.span import Range, Span, Unmeasured

DRIFT_LIMIT = Fraction(1, 100)
"""One in a hundred, wider than any crystal and most RC oscillators (common practice, no source)."""

Point = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Exchange:
    """One answer of a node: when the tool asked, when it came, and its stamp, unwrapped.

    `sent` is None for a reading that the node sent by itself.
    """

    sent: int | None
    received: int
    stamp: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """All straight lines that a node's clock can be: the corners of the set.

    `highest` and `lowest` hold (b, a): the greatest and the least a for slopes where either bends.
    """

    tick: Fraction
    origin: int
    slopes: tuple[Fraction, Fraction]
    highest: tuple[tuple[Fraction, Fraction], ...]
    lowest: tuple[tuple[Fraction, Fraction], ...]
    slack: int

    @property
    def drift(self) -> Range:
        """How fast the node's clock runs, in parts per million; above 0 it gains on the tool's.

        A slow counter takes more of the tool's time for each count.
        """
        slow, fast = (float((self.tick / slope - 1) * 1_000_000) for slope in self.slopes[::-1])
        return Range(slow, (slow + fast) / 2, fast)

    def instant(self, stamp: int) -> Span:
        """Return when, on the tool's time, the counter showed `stamp`: rounded outward."""
        low = min(a + b * (stamp - self.origin) for b, a in self.lowest)
        high = max(a + b * (stamp + 1 - self.origin) for b, a in self.highest)
        likely = round((low + high) / 2)
        return Span(_floor(low) - self.slack, likely, _ceiling(high) + self.slack)

    def length(self, counts: int) -> Span:
        """Return how long a difference of two stamps took: each is off by less than a count."""
        low = self.slopes[0] * max(0, counts - 1)
        high = self.slopes[1] * (counts + 1)
        likely = round((low + high) / 2)
        return Span(_floor(low) - 2 * self.slack, likely, _ceiling(high) + 2 * self.slack)


def fit_clock(
    exchanges: Sequence[Exchange],
    tick: Fraction | int,
    *,
    drift_limit: Fraction = DRIFT_LIMIT,
    least_transport: int = 0,
    slack: int = 0,
) -> Clock | Unmeasured:
    """Return every clock that the exchanges allow.

    `tick` is nanoseconds a count.  Unmeasured where no even clock fits (a reboot, a clock that was
    set, a drift that changed) or nothing bounds it from one side.  Raises ValueError on limits that
    make no sense.
    """
    tick = Fraction(tick)
    if tick <= 0 or not 0 <= drift_limit < 1 or min(least_transport, slack) < 0:
        raise ValueError("a tick is above 0, a drift limit from 0 to 1, times not negative")
    if not any(exchange.sent is not None for exchange in exchanges):
        return Unmeasured("nothing was exchanged with the node")
    origin = exchanges[0].stamp
    shift = slack - least_transport
    lower = [(e.stamp + 1 - origin, e.sent - shift) for e in exchanges if e.sent is not None]
    upper = [(e.stamp - origin, e.received + shift) for e in exchanges]
    lower, upper = _upper_hull(lower), _lower_hull(upper)
    slopes = _slopes(lower, upper, tick / (1 + drift_limit), tick / (1 - drift_limit))
    if slopes is None:
        return Unmeasured(
            "no even clock fits the stamps: it was set, restarted or changed its rate"
        )
    return Clock(
        tick=tick,
        origin=origin,
        slopes=slopes,
        highest=_corners(upper, slopes, min),
        lowest=_corners(lower, slopes, max),
        slack=slack,
    )


def _slopes(
    lower: Sequence[Point], upper: Sequence[Point], least: Fraction, most: Fraction
) -> tuple[Fraction, Fraction] | None:
    """Return the least and the greatest slope of a line between the points; None without one."""
    for x, below in lower:
        for other, above in upper:
            run, rise = other - x, above - below
            if run > 0:
                most = min(most, Fraction(rise, run))
            elif run < 0:
                least = max(least, Fraction(rise, run))
            elif rise < 0:
                return None
    return (least, most) if least <= most else None


def _corners(
    hull: Sequence[Point],
    slopes: tuple[Fraction, Fraction],
    choose: Callable[[list[Fraction]], Fraction],
) -> tuple[tuple[Fraction, Fraction], ...]:
    """Return (b, a) where the extreme a bends, over the slopes that are possible."""
    bends = [
        Fraction(after[1] - before[1], after[0] - before[0]) for before, after in pairwise(hull)
    ]
    inside = [bend for bend in bends if slopes[0] < bend < slopes[1]]
    return tuple((b, choose([y - b * x for x, y in hull])) for b in (*slopes, *inside))


def _lower_hull(points: Sequence[Point]) -> list[Point]:
    hull: list[Point] = []
    for point in sorted(points):
        if hull and hull[-1][0] == point[0]:
            continue  # sorted: the first of one column is its lowest
        while len(hull) > 1 and _turn(hull[-2], hull[-1], point) <= 0:
            hull.pop()
        hull.append(point)
    return hull


def _upper_hull(points: Sequence[Point]) -> list[Point]:
    return [(x, -y) for x, y in _lower_hull([(x, -y) for x, y in points])]


def _turn(first: Point, second: Point, third: Point) -> int:
    return (second[0] - first[0]) * (third[1] - first[1]) - (second[1] - first[1]) * (
        third[0] - first[0]
    )


def _floor(number: Fraction) -> int:
    return number.numerator // number.denominator


def _ceiling(number: Fraction) -> int:
    return -(-number.numerator // number.denominator)
