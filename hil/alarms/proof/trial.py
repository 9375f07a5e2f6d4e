"""One search for a point, closed: where noise gives odd answers, the bracket still gets two ends.

    search          21.99 before, 22.00 beyond, 21.98 beyond?   odd: bracket (open, 22.00)
    closing         21.93 before                                 bracket (21.93, 22.00)

A search ends with the first answer that does not fit.  From there a trial steps outwards, by the
input's noise and then twice that, until it finds an answer that fits, or the budget of the search
is spent.
"""

from hil.alarms.search import Bracket, Side, TripSearch, most_probes


class Trial:
    """One search and what closes it; asks like a search."""

    def __init__(self, counts: range, rising: bool, expected: int, noise: int) -> None:
        self._counts, self._noise = counts, max(1, noise)
        self._sign = 1 if rising else -1
        self._search = TripSearch(
            low=counts.start, high=counts.stop - 1, rising=rising, expected=expected
        )
        self._budget = most_probes(counts.start, counts.stop - 1)
        self._before: int | None = None
        self._beyond: int | None = None
        self._distance = self._noise
        self._extra = 0

    @property
    def probes(self) -> int:
        """How many probes have been answered."""
        return self._search.probes + self._extra

    @property
    def done(self) -> bool:
        return self.next_probe() is None

    @property
    def contradictions(self) -> tuple[int, ...]:
        """The counts whose answers do not fit one step."""
        return self._search.contradictions

    @property
    def bracket(self) -> Bracket:
        """The interval in which the point lies, as far as known."""
        found = self._search.bracket
        return Bracket(
            found.last_before if found.last_before is not None else self._before,
            found.first_beyond if found.first_beyond is not None else self._beyond,
        )

    def next_probe(self) -> int | None:
        """Return the count to try next, or None when the trial is over."""
        count = self._search.next_probe()
        if count is not None or not self._search.contradictions:
            return count
        if self.probes >= self._budget:
            return None
        return self._outside()

    def answer(self, count: int, side: Side) -> None:
        """Take in what the node showed at a probe."""
        if self._search.next_probe() is not None:
            self._search.answer(count, side)
            return
        self._extra += 1
        outwards = self.bracket.last_before is None
        if outwards and side is Side.BEFORE:
            self._before, self._distance = count, self._noise
        elif not outwards and side is Side.BEYOND:
            self._beyond, self._distance = count, self._noise
        else:
            self._distance *= 2

    def _outside(self) -> int | None:
        """Return a count beyond all odd answers, on the side where the bracket is open."""
        bracket = self.bracket
        odd = [self._sign * count for count in self._search.contradictions]
        if bracket.last_before is None:
            count = self._sign * (min(odd) - self._distance)
        elif bracket.first_beyond is None:
            count = self._sign * (max(odd) + self._distance)
        else:
            return None
        return count if count in self._counts else None
