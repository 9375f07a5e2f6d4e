"""The time towards a delay: how long a condition has held, unbroken or in total.

    unbroken, 3 s      ##_###>         > fires when it has held for the whole delay
    accumulated, 3 s   ##_#>           > fires when all its time together reaches the delay

The timer starts at the first sample that meets the condition and is due when the condition has
held for the delay, that instant included.  An arrival at the very instant comes first.
"""

from hil.alarms.spec import Counting, Delay
from hil.core.instant import ZERO, Instant


class Timer:
    """Counts the time of one condition towards one delay (None: no delay)."""

    def __init__(self, delay: Delay | None) -> None:
        self._length = delay.length if delay is not None else ZERO
        self._adds = delay is not None and delay.counting is Counting.ACCUMULATED
        self._forget = delay.forget_after if delay is not None else None
        self._since: int | None = None  # the condition holds since
        self._away: int | None = None  # the opposite is known to hold since
        self._sum = 0

    @property
    def due(self) -> Instant | None:
        """The instant at which the delay is over, if nothing changes before."""
        if self._since is None:
            return None
        return Instant(self._since + max(0, self._length - self._sum))

    def meet(self, now: Instant) -> None:
        """The condition holds from now on."""
        if self._since is not None:
            return
        if self._forgotten(now):
            self._sum = 0
        self._since, self._away = now, None

    def miss(self, now: Instant, known: bool) -> None:
        """The condition does not hold any more; `known` is False where there is no reading."""
        if self._since is not None and self._adds:
            self._sum += now - self._since
        self._since = None
        if self._forgotten(now):
            self._sum = 0
        if not known:
            self._away = None
        elif self._away is None:
            self._away = now

    def clear(self) -> None:
        """Forget all time; the condition counts as not met until told otherwise."""
        self._since = self._away = None
        self._sum = 0

    def _forgotten(self, now: Instant) -> bool:
        return (
            self._away is not None and self._forget is not None and now - self._away > self._forget
        )
