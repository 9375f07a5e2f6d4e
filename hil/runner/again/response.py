"""What a case that is judged again gets for what it wishes: the recorded fates and answers."""

from collections.abc import Iterable, Sequence
from heapq import heappop, heappush

from hil.core.errand import Prompt, Wish
from hil.core.event import CommandLogged, Event
from hil.core.instant import Instant
from hil.core.observation import Command, Observation
from hil.core.signal import show_value
from hil.runner.again.answer import Answers
from hil.runner.again.fate import Fates
from hil.wire.rack import Rack


class Responses:
    """The responses that are still to come, in their order."""

    def __init__(self, rack: Rack, recorded: Sequence[Event]) -> None:
        self._signals = rack.signals()
        logged = [event for event in recorded if isinstance(event, CommandLogged)]
        self._fates = Fates(logged, rack.programs)
        self._answers = Answers(recorded)
        self._pending: list[tuple[Instant, int, Observation]] = []
        self._serial = 0

    def seek(self, wishes: Iterable[Command | Wish], index: int, now: Instant) -> None:
        """Look up what became of each wish of the case `index`."""
        for wish in wishes:
            if isinstance(wish, Command):
                shown = show_value(wish.value, self._signals[wish.signal])
                for at, thing in self._fates.take(wish, shown, now):
                    self._put(at, thing)
            elif isinstance(wish, Prompt):
                said = self._answers.take(wish, index, now)
                if said is not None:
                    self._put(*said)

    def _put(self, at: Instant, thing: Observation) -> None:
        self._serial += 1
        heappush(self._pending, (at, self._serial, thing))

    def next(self) -> Instant | None:
        """Return when the next one comes."""
        return self._pending[0][0] if self._pending else None

    def pop(self) -> Observation:
        """Take the next one."""
        return heappop(self._pending)[2]
