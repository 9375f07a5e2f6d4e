"""Lost and duplicate packets.

A packet is lost when it has not come within a stated waiting time (RFC 7680 2.4; the RFC sets no
universal value).  A second copy is a duplicate and counts for nothing else (RFC 5560).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Which of the sent packets never came in time, which came twice, and which were never sent."""

    sent: int
    lost: tuple[int, ...]
    late: tuple[int, ...]
    duplicates: tuple[int, ...]
    strays: tuple[int, ...]

    @property
    def ratio(self) -> Fraction:
        """Lost / sent: the mean of RFC 7680's singletons 0 and 1; 0 where nothing was sent."""
        return Fraction(len(self.lost), self.sent) if self.sent else Fraction(0)


def find_loss(
    sent: Mapping[int, int], arrived: Iterable[tuple[int, int]], waiting_time: int
) -> Loss:
    """Compare what was sent (number → instant) with what arrived, as (number, instant).

    A packet that came after the waiting time is `late` and among the lost.  `duplicates` holds the
    number once for each extra copy.
    """
    first: dict[int, int] = {}
    duplicates: list[int] = []
    strays: list[int] = []
    for number, at in arrived:
        if number not in sent:
            strays.append(number)
        elif number in first:
            duplicates.append(number)
            first[number] = min(first[number], at)
        else:
            first[number] = at
    late = [n for n, at in sent.items() if n in first and first[n] - at > waiting_time]
    missed = frozenset(late)
    lost = [n for n in sent if n not in first or n in missed]
    return Loss(
        sent=len(sent),
        lost=tuple(lost),
        late=tuple(late),
        duplicates=tuple(duplicates),
        strays=tuple(strays),
    )


def missing_numbers(arrived: Sequence[int]) -> tuple[int, ...]:
    """Return the numbers between the lowest and the highest that arrived and did not arrive.

    For a stream whose sending nobody saw; packets before the first or after the last are unknown.
    """
    if not arrived:
        return ()
    seen = frozenset(arrived)
    return tuple(n for n in range(min(arrived), max(arrived) + 1) if n not in seen)


def fraction_lost(expected: int, received: int) -> int:
    """Return RFC 3550's fraction lost in 1/256, rounded down; 0 where more came than expected."""
    if expected <= 0 or received >= expected:
        return 0
    return 256 * (expected - received) // expected
