"""An engine that somebody looks at while the loop drives it: every so often, in bench time.

What is shown is drawn from the loop's own thread, between two of its turns.
"""

from collections.abc import Callable, Iterable

from hil.bench.parties import Engine
from hil.core.errand import Wish
from hil.core.event import Event
from hil.core.instant import Duration, Instant, earliest
from hil.core.observation import Command, Observation


class Attended:
    """An engine, and `look`, which is called every `period` from `start` on."""

    def __init__(
        self, engine: Engine, period: Duration, start: Instant, look: Callable[[Instant], object]
    ) -> None:
        self._engine = engine
        self._period = period
        self._next = Instant(start + period)
        self._look = look

    @property
    def done(self) -> bool:
        return self._engine.done

    def receive(self, seen: Observation, now: Instant) -> object:
        """Take in an observation."""
        return self._engine.receive(seen, now)

    def tick(self, now: Instant) -> None:
        """Let time reach `now`, and look when it is time; what was missed is not made up for."""
        over = self.done
        self._engine.tick(now)
        if now >= self._next and not over:
            late = (now - self._next) % self._period
            self._next = Instant(now - late + self._period)
            self._look(now)

    def next_wakeup(self) -> Instant | None:
        """Return when the engine or the onlooker is due."""
        return None if self.done else earliest(self._engine.next_wakeup(), self._next)

    def take_sends(self) -> tuple[Command | Wish, ...]:
        """Hand over what the engine wants sent."""
        return self._engine.take_sends()

    def take_events(self) -> Iterable[Event]:
        """Hand over what happened."""
        return self._engine.take_events()
