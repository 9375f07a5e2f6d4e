"""A job for a plan: from here to the end of the case, the relay disturbs as this step says.

The job only says so; the runner tells the relay.  The step lasts a moment, so that the relay has
heard of it before the next one begins.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from hil.core.event import Disturbed
from hil.core.instant import MILLISECOND, Duration, Instant
from hil.core.job import Stage
from hil.core.observation import Observation
from hil.core.scene import Scene
from hil.core.verdict import Outcome
from hil.wire.disturbance import Disturbance

MOMENT = Duration(20 * MILLISECOND)


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturb:
    """The frozen description; it takes the place of the bench file's script."""

    script: tuple[Disturbance, ...]
    place: str

    @property
    def drives(self) -> tuple[str, ...]:
        return ()

    @property
    def watches(self) -> tuple[str, ...]:
        return ()

    def begin(self, scene: Scene, where: str, index: int, step: int, start: Instant) -> Stage:
        at = scene.since_origin(start)
        scene.events.append(Disturbed(at=at, index=index, step=step, place=self.place))
        return _Moment(Instant(start + MOMENT))


class _Moment:
    """Waits a moment; finds nothing."""

    def __init__(self, until: Instant) -> None:
        self._until: Instant | None = until
        self.outcomes: Sequence[Outcome] = ()
        self.reasons: Sequence[str] = ()

    @property
    def done(self) -> bool:
        return self._until is None

    def receive(self, seen: Observation, now: Instant) -> None:
        self.tick(now)

    def tick(self, now: Instant) -> None:
        if self._until is not None and now >= self._until:
            self._until = None

    def next_wakeup(self) -> Instant | None:
        return self._until

    def break_off(self, reason: str, now: Instant) -> None:
        self._until = None
