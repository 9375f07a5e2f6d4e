"""How high a record can have gone between its samples, which nobody saw.

    height      ╱ ╲   ← where the two lines meet: the ceiling of this gap
               ╱   ╲
              o┄┄┄┄┄o
             ╱       ╲      each line goes on as the record came, or left
            o         o

Two things are taken for granted, and nothing can be said without them.  Between two samples the
record moves no faster than the fastest that two samples show (S): a gap of d between heights a and
b reaches (a + b)/2 + S·d/2 at most.  And where its slope is falling already, it falls on: from a
sample it rises no faster than it came there over the one or two samples before, and by the same rule
backwards from the next.  A swing that begins and ends within one gap is beyond both, and unseen.

The second rule holds wherever the slope has one greatest value on the way (the chord over a stretch
is then no less than the slope at its end), so for a second-order response from its inflection on.

`noise` is the half-width by which a single sample may be off, `look` how much earlier than its
instant a sample can be from, in nanoseconds; both raise the ceiling.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]


def ceiling(
    times: "NDArray[np.int64]", heights: "Numbers", noise: float = 0.0, look: int = 0
) -> float:
    """Return the greatest height that the record can have had.

    For one sample or more, at instants that never go back.  Infinite where no two samples are
    further apart than two looks.
    """
    import numpy as np

    top = float(heights.max()) + noise
    if times.size < 2:
        return top
    gaps = np.diff(times).astype(np.float64)
    shown = gaps > 2 * look  # of what is closer together, looks that take time tell no slope
    if not shown.any():
        return float("inf")
    moves = np.abs(np.diff(heights))[shown] + 2 * noise
    steepest = float((moves / (gaps[shown] - look)).max())
    gaps += look
    reach = (heights[:-1] + heights[1:]) / 2 + noise
    reach += steepest * gaps / 2
    (places,) = (reach > top).nonzero()
    if not places.size:
        return top
    first, last, gap = heights[places] + noise, heights[places + 1] + noise, gaps[places]
    coming = _slopes(times, heights, places, -1, noise, look)
    leaving = _slopes(times, heights, places + 1, 1, noise, look)
    coming[first + coming * gap < last - 2 * noise] = np.inf  # it has bent upwards since
    leaving[last + leaving * gap < first - 2 * noise] = np.inf
    met = _meeting(first, last, gap, coming, leaving)
    return max(top, float(np.minimum(met, reach[places]).max()))


def _slopes(
    times: "NDArray[np.int64]",
    heights: "Numbers",
    places: "NDArray[np.intp]",
    way: int,
    noise: float,
    look: int,
) -> "Numbers":
    """Return how fast the record can go on rising from samples, by the two before (`way` -1).

    Infinite where there are no two, or where they do not show that the slope is falling.
    """
    import numpy as np

    final = times.size - 1
    near, far = np.clip(places + way, 0, final), np.clip(places + 2 * way, 0, final)
    late, early = heights[places] - heights[near], heights[near] - heights[far]
    short, before = np.abs(times[places] - times[near]), np.abs(times[near] - times[far])
    with np.errstate(divide="ignore", invalid="ignore"):
        one = (late + 2 * noise) / np.maximum(short - look, 0)
        two = (late + early + 2 * noise) / np.maximum(short + before - look, 0)
        falls = (early + 2 * noise) / before >= (late - 2 * noise) / short
    known = (places + 2 * way >= 0) & (places + 2 * way <= final) & (short > look) & falls
    return np.where(known, np.minimum(one, two), np.inf)


def _meeting(
    first: "Numbers", last: "Numbers", gap: "Numbers", coming: "Numbers", leaving: "Numbers"
) -> "Numbers":
    """Return the height where the lines from both sides meet; where only one is known, its end."""
    import numpy as np

    with np.errstate(invalid="ignore", divide="ignore"):
        meet = np.clip((last - first + leaving * gap) / (coming + leaving), 0, gap)
        met = np.minimum(first + coming * meet, last + leaving * (gap - meet))
        left = first + np.maximum(coming * gap, 0)
        right = last + np.maximum(leaving * gap, 0)
    level = np.where(coming + leaving > 0, met, np.maximum(first, last))
    one_sided = np.isinf(coming) | np.isinf(leaving)
    return np.where(one_sided, np.minimum(left, right), level)
