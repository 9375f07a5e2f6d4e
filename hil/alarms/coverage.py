"""Which transitions between bands have been provoked, and which are left.

Every ordered pair of bands counts, jumps across several included: n bands have n (n - 1).

    tour(("a", "b", "c"))   a b c b a c a      each pair once, without a gap
"""

from collections.abc import Iterable, Sequence

Pair = tuple[str, str]


class Coverage:
    """Transitions provoked so far, out of those wanted."""

    def __init__(self, bands: Iterable[str]) -> None:
        names = tuple(bands)
        self.wanted: tuple[Pair, ...] = tuple(
            (one, other) for one in names for other in names if one != other
        )
        self._seen: set[Pair] = set()

    def note(self, before: str, after: str) -> None:
        """Take in a transition that was shown; others than the wanted are ignored."""
        self._seen.add((before, after))

    @property
    def uncovered(self) -> tuple[Pair, ...]:
        """The transitions not seen yet, in order."""
        return tuple(pair for pair in self.wanted if pair not in self._seen)

    @property
    def share(self) -> float:
        """How much has been covered, 0 to 1; 1 where there is nothing to cover."""
        return 1 - len(self.uncovered) / len(self.wanted) if self.wanted else 1.0

    @property
    def never_reached(self) -> tuple[str, ...]:
        """The bands that no transition has led into."""
        reached = {after for _, after in self._seen}
        return tuple(dict.fromkeys(after for _, after in self.wanted if after not in reached))


def tour(bands: Sequence[str]) -> tuple[str, ...]:
    """Return a walk from the first band that makes each ordered transition exactly once."""
    if not bands:
        return ()
    walk = [bands[-1]]
    for place in range(len(bands) - 2, -1, -1):
        first, following = bands[place], bands[place + 1 :]
        # to the next one, its own tour of all later ones, back; then there and back to each other
        walk = [first, *walk, first]
        for other in following[1:]:
            walk += [other, first]
    return tuple(walk)
