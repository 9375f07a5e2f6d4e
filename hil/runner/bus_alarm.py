"""What ends a run because of its bus: a second coordinator, from which no verdict is worth anything.

Whoever watches the bus sounds the alarm; the bench hands it over like any other wish to end.
"""

from hil.bench.aside import Watch
from hil.bench.bench import Arrival
from hil.core.instant import SECOND, Duration, Instant
from hil.core.observation import Abort

PATIENCE = Duration(5 * SECOND)


class BusAlarm:
    """An aside of the bench; of several reasons the first counts, and `reason` stays told."""

    def __init__(self) -> None:
        self.reason, self._heard = "", False

    def sound(self, reason: str) -> None:
        """Wish that the run ends for this reason."""
        self.reason = self.reason or reason

    def attach(self, watch: Watch, forget: Watch) -> None:
        """Wake for no file: the alarm is sounded while the bench is awake."""

    def due(self, now: Instant) -> Instant | None:
        """Return when there is something to hand over."""
        return now if self.reason and not self._heard else None

    def collect(self, horizon: Instant) -> list[Arrival]:
        """Hand the wish over, once."""
        if self.due(horizon) is None:
            return []
        self._heard = True
        return [Arrival(Abort(reason=self.reason, at=horizon, patience=PATIENCE), horizon)]
