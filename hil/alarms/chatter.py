"""How often is too often: chattering by its usual definition.

An alarm chatters when it goes active and clears three or more times within one minute (the
definition that articles restate from ISA-18.2 and IEC 62682).
"""

from collections import deque
from collections.abc import Iterable, Sequence

from hil.core.instant import SECOND, Duration, Instant

USUAL_COUNT = 3
USUAL_WINDOW = Duration(60 * SECOND)


def chattering_at(
    activations: Iterable[Instant], count: int = USUAL_COUNT, window: Duration = USUAL_WINDOW
) -> Instant | None:
    """Return the first activation that is the `count`-th within `window`; None where none is.

    Two activations exactly a window apart are within it.
    """
    recent: deque[Instant] = deque(maxlen=count)
    for at in activations:
        recent.append(at)
        if len(recent) == count and at - recent[0] <= window:
            return at
    return None


def most_per_window(activations: Sequence[Instant], window: Duration = USUAL_WINDOW) -> int:
    """Return the largest number of activations within any one window."""
    first = most = 0
    for last, at in enumerate(activations):
        while at - activations[first] > window:
            first += 1
        most = max(most, last - first + 1)
    return most
