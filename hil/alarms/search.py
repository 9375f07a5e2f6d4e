"""Where does a node really trip?  A search over whole counts, without a clock.

    first the two counts around the expected point     usually that is all
    then bisection of what is left                      down to one count
    then a staircase outwards from the point found      +1 -1 +2 -2 +4 -4 ...

The ends of the range need no probe: a node that never trips (or always) ends with an open
bracket.  At most ceil(log2(range in counts)) + 3 probes are asked for; the staircase uses what the
bisection left over, four at most.  It is there to notice a node whose answers do not form one
step: a probe on the far side that answers like the near side.

    search = TripSearch(low=0, high=1000, rising=True, expected=360)
    while (probe := search.next_probe()) is not None:
        search.answer(probe, side_of(probe))
    search.bracket          # Bracket(last_before=359, first_beyond=360)
"""

from dataclasses import dataclass
from enum import Enum

STAIRCASE = 4
"""How many probes of the staircase are asked for, where the budget allows."""


class Side(Enum):
    """What the node showed: not tripped yet, or tripped."""

    BEFORE = "before"
    BEYOND = "beyond"


@dataclass(frozen=True, slots=True)
class Bracket:
    """The result: the last count that had not tripped, and the first that had.

    None means that no such count was seen, up to the end of the range.  For a falling edge
    `first_beyond` is the lower of both.
    """

    last_before: int | None
    first_beyond: int | None


def most_probes(low: int, high: int) -> int:
    """Return the largest number of probes for a range of counts: ceil(log2(high - low)) + 3."""
    return max(0, high - low - 1).bit_length() + 3


class TripSearch:
    """Finds the step of one edge in one direction; counts are mirrored for falling edges."""

    def __init__(self, *, low: int, high: int, rising: bool, expected: int) -> None:
        if low > high:
            raise ValueError(f"there is no count from {low} to {high}")
        self._sign = 1 if rising else -1
        ends = sorted((self._sign * low, self._sign * high))
        self._low, self._high = ends[0], ends[1]
        self._expected = min(max(self._sign * expected, self._low), self._high)
        self._before, self._beyond = self._low - 1, self._high + 1  # the bracket, ends outside
        self._answers: dict[int, Side] = {}
        self._contradictions: list[int] = []
        self._budget = most_probes(low, high)

    @property
    def probes(self) -> int:
        """How many probes have been answered."""
        return len(self._answers)

    @property
    def monotonic(self) -> bool:
        """Whether all answers form one step."""
        return not self._contradictions

    @property
    def contradictions(self) -> tuple[int, ...]:
        """The counts whose answers do not fit the step that the others form."""
        return tuple(self._sign * count for count in self._contradictions)

    @property
    def done(self) -> bool:
        return self.next_probe() is None

    @property
    def bracket(self) -> Bracket:
        """The step as known so far; with contradictions all that is unsure lies within."""
        before, beyond = self._before, self._beyond
        for count in self._contradictions:
            if self._answers[count] is Side.BEYOND:
                before = min(before, self._last_below(count))
            else:
                beyond = max(beyond, self._first_above(count))
        return Bracket(
            None if before < self._low else self._sign * before,
            None if beyond > self._high else self._sign * beyond,
        )

    def next_probe(self) -> int | None:
        """Return the count to try next, or None when the search is over."""
        if len(self._answers) >= self._budget or self._contradictions:
            return None
        if self._beyond - self._before > 1:
            return self._sign * self._inward()
        step = self._outward()
        return None if step is None else self._sign * step

    def answer(self, probe: int, side: Side) -> None:
        """Take in what the node showed at a probe; raises ValueError for any other count."""
        if probe != self.next_probe():
            raise ValueError(f"the answer is for count {probe}, asked was {self.next_probe()}")
        count = self._sign * probe
        self._answers[count] = side
        if self._before < count < self._beyond:
            if side is Side.BEFORE:
                self._before = count
            else:
                self._beyond = count
        elif (side is Side.BEFORE) is not (count <= self._before):
            self._contradictions.append(count)

    def _inward(self) -> int:
        """The expected point and its neighbour first, then the middle of what is left."""
        for count in (self._expected - 1, self._expected):
            if self._before < count < self._beyond and len(self._answers) < 2:
                return count
        return (self._before + self._beyond) // 2

    def _outward(self) -> int | None:
        wanted, distance = STAIRCASE, 1
        while distance <= self._high - self._low + 1:
            for count in (self._before - distance, self._beyond + distance):
                if not self._low <= count <= self._high:
                    continue
                if wanted == 0:
                    return None
                wanted -= 1
                if count not in self._answers:
                    return count
            distance *= 2
        return None

    def _last_below(self, count: int) -> int:
        known = [one for one, side in self._answers.items() if side is Side.BEFORE and one < count]
        return max(known, default=self._low - 1)

    def _first_above(self, count: int) -> int:
        known = [one for one, side in self._answers.items() if side is Side.BEYOND and one > count]
        return min(known, default=self._high + 1)
