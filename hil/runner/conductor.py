"""A run that is led from outside, case by case: by pytest, or by any program.

    the leading thread                      the run's own thread
    proceed, perform, peek, dismiss ──order──▶ collected by the bench as an arrival
    waits                           ◀─answer── the end of the case, what came of a step

The rack's loop goes on in a thread of its own, so that nodes are listened to and the bench is never
late, however long the leading program takes between two orders.  On a virtual bench time stands
still meanwhile.
"""

import os
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass

from hil.bench.aside import Watch
from hil.bench.bench import Arrival
from hil.core.error import HilError
from hil.core.event import CaseEnded, Event
from hil.core.instant import SECOND, Duration, Instant
from hil.core.observation import Abort
from hil.core.order import Dismiss, Order, Peek, Perform, Proceed
from hil.core.plan import Step
from hil.core.scripted import Answer, Performed
from hil.core.signal import Sample
from hil.core.verdict import Outcome

PATIENCE = Duration(SECOND)
"""How long a run that is broken off may take until it drives everything safe."""


class RunOver(Exception):
    """The run has ended already, or could not begin; the text says why."""


@dataclass(frozen=True, slots=True)
class _Over:
    """The last thing that the run's thread says: what it returned, or what it raised."""

    returned: object
    raised: BaseException | None


class Conductor:
    """Leads one run; an aside of its bench.

    `virtual` says that time is to stand still while nothing was ordered.
    """

    def __init__(self, *, virtual: bool) -> None:
        self._virtual = virtual
        self._orders: queue.SimpleQueue[Order | str] = queue.SimpleQueue()
        self._answers: queue.SimpleQueue[CaseEnded | Answer | _Over] = queue.SimpleQueue()
        self._ear, self._bell = os.pipe()
        self._busy = False
        self._thread: threading.Thread | None = None
        self._over: _Over | None = None

    # --- the leading thread ---------------------------------------------------------------------

    def start(self, run: Callable[[], object]) -> None:
        """Let `run` go on in a thread of its own; it must attach this to its bench."""

        def work() -> None:
            try:
                over = _Over(run(), None)
            except BaseException as error:  # it is raised again in the leading thread
                over = _Over(None, error)
            self._answers.put(over)

        self._thread = threading.Thread(target=work, name="rack", daemon=False)
        self._thread.start()

    def proceed(self, index: int) -> CaseEnded:
        """Run a case to its end.  Raises RunOver."""
        ended = self._ask(Proceed(index=index))
        assert isinstance(ended, CaseEnded)
        return ended

    def open(self, index: int) -> None:
        """Begin a case that takes orders.  Raises RunOver, also where it ended at once."""
        answer = self._ask(Proceed(index=index))
        if isinstance(answer, CaseEnded):
            raise RunOver("; ".join(answer.reasons) or answer.outcome)

    def perform(self, step: Step) -> Performed:
        """Do one step.  Raises RunOver."""
        answer = self._ask(Perform(step=step))
        if isinstance(answer, CaseEnded):
            raise RunOver("; ".join(answer.reasons) or answer.outcome)
        assert isinstance(answer, Performed)
        return answer

    def peek(self, signal: str) -> Sample | None:
        """Return the latest sample of a signal.  Raises RunOver."""
        answer = self._ask(Peek(signal=signal))
        assert answer is None or isinstance(answer, Sample)
        return answer

    def dismiss(self, outcome: Outcome | None = None, reason: str = "") -> CaseEnded:
        """End the case that takes orders, with what the program itself found.  Raises RunOver."""
        ended = self._ask(Dismiss(outcome=outcome, reason=reason))
        assert isinstance(ended, CaseEnded)
        return ended

    def finish(self, reason: str = "") -> object:
        """End the run, with a reason where it is broken off; return what it returned.

        Raises what it raised.
        """
        if self._thread is None:
            return None
        if self._over is None:
            self._tell(reason or Proceed(index=None))
            while not isinstance(answer := self._answers.get(), _Over):
                pass
            self._over = answer
        self._thread.join()
        for fd in (self._ear, self._bell):
            os.close(fd)
        self._thread = None
        if self._over.raised is not None:
            raise self._over.raised
        return self._over.returned

    def _ask(self, order: Order) -> CaseEnded | Answer:
        if self._over is None:
            self._tell(order)
            answer = self._answers.get()
            if not isinstance(answer, _Over):
                return answer
            self._over = answer
        error = self._over.raised
        if error is not None and not isinstance(error, HilError):
            raise error
        raise RunOver("the run is over" if error is None else str(error))

    def _tell(self, order: Order | str) -> None:
        self._orders.put(order)
        os.write(self._bell, b"!")

    # --- the run's thread -----------------------------------------------------------------------

    def hear(self, event: Event) -> None:
        """Learn from the run that a case ended; to be called with each event that was recorded."""
        if isinstance(event, CaseEnded) and event.outcome != "skipped":
            self._answer(event)

    def told(self, answer: Answer) -> None:
        """Learn from a case that takes orders what came of one."""
        self._answer(answer)

    def _answer(self, answer: CaseEnded | Answer) -> None:
        self._busy = False
        self._answers.put(answer)

    def attach(self, watch: Watch, forget: Watch) -> None:
        watch(self._ear)

    def due(self, now: Instant) -> Instant | None:
        return None

    def collect(self, horizon: Instant) -> list[Arrival]:
        """Hand over the order that came; a virtual bench waits for it."""
        try:
            order = self._orders.get(block=self._virtual and not self._busy)
        except queue.Empty:
            return []
        os.read(self._ear, 1)
        self._busy = True
        if isinstance(order, str):
            return [Arrival(Abort(reason=order, at=horizon, patience=PATIENCE), horizon)]
        return [Arrival(order, horizon)]
