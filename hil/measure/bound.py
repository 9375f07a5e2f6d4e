"""What a measured figure must be: at most, at least, or between; judged as an interval.

    limit            ├──────────────┤ high
    figure   pass        |--|                  all of it inside
             inconclusive          |--|        the limit lies in it
             fail                       |--|   all of it outside

Both ends of a bound are inclusive.
"""

import math
from dataclasses import dataclass
from decimal import Decimal

from hil.core.verdict import Outcome

Real = int | float | Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """The allowed values of a figure; None is an open end.  `words` say it: `at most 300 ms`."""

    low: Decimal | None
    high: Decimal | None
    words: str

    def judge(self, first: Real, last: Real) -> Outcome:
        """Judge a figure that lies between `first` and `last`."""
        if (self.high is not None and first > self.high) or (
            self.low is not None and last < self.low
        ):
            return Outcome.FAIL
        if (self.high is None or last <= self.high) and (self.low is None or first >= self.low):
            return Outcome.PASS
        return Outcome.INCONCLUSIVE

    def margin(self, first: Real, last: Real) -> float | None:
        """Return how far the figure is from the limit, as a fraction of what is allowed.

        With two limits 1 is the centre; with one, 1 is nothing at all (at most) or twice the limit
        (at least).  None where the limit lies in the figure, or is 0.
        """
        outcome = self.judge(first, last)
        if outcome is Outcome.INCONCLUSIVE:
            return None
        good = outcome is Outcome.PASS
        rooms = []
        if self.high is not None:
            rooms.append(float(self.high) - float(last if good else first))
        if self.low is not None:
            rooms.append(float(first if good else last) - float(self.low))
        scale = self._scale()
        room = min(rooms)
        return room / scale if scale > 0 and math.isfinite(room) else None

    def _scale(self) -> float:
        if self.high is not None and self.low is not None:
            return float(self.high - self.low) / 2
        return abs(float(self.high if self.high is not None else self.low or 0))
