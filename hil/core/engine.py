"""The run as a machine: cases in order, every actuator safe at the end.

    CASES     one CaseRun after the other; a failed one again, up to `retries` times
    SAFE      every actuator of the rack driven to its safe value and read back
    OVER      `outcome`, `counts`, `safe`, `aborted`

A pass on a later attempt is `unstable`, and both attempts stay in the journal.  An abort, or a
node that is not who it must be, ends the case that is on, leaves the rest not run, and goes to
SAFE at once; a second abort shortens the wait for read-backs, never the safe commands.  To what
has taken a node's place nothing more is sent, and the rack then counts as not safe.
"""

from collections.abc import Callable, Container, Mapping, Sequence
from enum import Enum, auto

from hil.core.casework import CaseRun
from hil.core.driving import Driving
from hil.core.errand import ProgramEnded, Wish
from hil.core.event import Event, RunEnded
from hil.core.instant import SECOND, Duration, Instant, after
from hil.core.noting import noted
from hil.core.observation import (
    Abort,
    Command,
    CommandAnswered,
    CommandLost,
    CommandSent,
    Exchanged,
    HostNote,
    NodeNote,
    NodeTrouble,
    Observation,
    Samples,
)
from hil.core.order import Proceed
from hil.core.plan import Case
from hil.core.scene import Explain, Latest, Scene, explain_nothing
from hil.core.securing import Securing, make_safe
from hil.core.signal import Sample, Signal
from hil.core.telling import left_safe, skipped
from hil.core.verdict import JUDGED, Outcome, worst

SAFE_LIMIT = Duration(10 * SECOND)
"""How long the whole rack may take to become safe before the run ends without that proof."""


class Phase(Enum):
    """Where the run is."""

    CASES = auto()
    SAFE = auto()
    OVER = auto()


class Run:
    """The machine of a whole run.

    It begins at `start`; journal instants count from `origin`, which is `start` unless the
    journal began earlier.  `known` are samples that were seen before it began.  `confirm` names
    the nodes that must be made sure of before a case drives anything.  A `paced` run waits before each
    case until it is told to go on (hil.core.order).
    """

    def __init__(
        self,
        *,
        signals: Mapping[str, Signal],
        cases: Sequence[Case],
        start: Instant,
        retries: int = 0,
        explain: Explain = explain_nothing,
        origin: Instant | None = None,
        known: Mapping[str, Sample] | None = None,
        confirm: Callable[[Case], Sequence[str]] = lambda case: (),
        paced: bool = False,
    ) -> None:
        origin = start if origin is None else origin
        self._scene = Scene(
            signals=signals,
            driving=Driving(signals, origin, start, known or {}),
            origin=origin,
            explain=explain,
            latest=Latest(known or {}),
        )
        self._cases = cases
        self._retries = retries
        self._confirm = confirm
        self._paced = paced
        self.distrusted: dict[str, str] = {}
        self._next = 0
        self._case: CaseRun | None = None
        self._placing: Securing | None = None
        self._phase = Phase.CASES
        self.counts: dict[str, int] = {outcome.word: 0 for outcome in JUDGED}
        self.aborted = ""
        self.safe = self.done = False
        self._stirred = True
        self._heeded: Container[str] = ()
        self._wakeup: Instant | None = None
        if not paced:
            self._begin(start)
        self._advance(start)

    @property
    def outcome(self) -> Outcome:
        """Return the worst outcome so far; nothing run at all counts as not run."""
        ended = [outcome for outcome in JUDGED if self.counts[outcome.word]]
        return worst(ended)

    @property
    def current(self) -> Case | None:
        """Return the case that is on, for people who watch."""
        return None if self._case is None else self._case.case

    # --- the machine ---------------------------------------------------------------------------

    def receive(self, seen: Observation, now: Instant) -> bool:
        """Take in whatever a link or the bench observed; return whether anything can follow."""
        if isinstance(seen, Samples):
            self._scene.latest.take(seen)
            if self._stirred:
                self._look_ahead()
            if seen.node not in self._heeded:
                return False
            self._pass_on(seen, now)
        elif isinstance(seen, (CommandSent, CommandAnswered, CommandLost)):
            self._scene.driving.receive(seen)
            self._pass_on(seen, now)
        elif isinstance(seen, Exchanged):
            self._scene.exchange(seen)
            return False
        elif isinstance(seen, Abort):
            self._abort(seen.reason, seen.patience, now)
        elif isinstance(seen, Proceed):
            self._proceed(seen.index, now)
        else:
            if isinstance(seen, (NodeNote, HostNote, ProgramEnded)):
                self._note(seen, now)
            self._pass_on(seen, now)
        self._advance(now)
        return True

    def tick(self, now: Instant) -> None:
        """Let time reach `now` in whatever is on."""
        if self._case is not None:
            self._case.tick(now)
        elif self._placing is not None:
            self._placing.tick(now)
        self._advance(now)

    def next_wakeup(self) -> Instant | None:
        """Return when whatever is on wants to be woken."""
        if self._stirred:
            self._look_ahead()
        return self._wakeup

    def take_sends(self) -> tuple[Command | Wish, ...]:
        """Hand over the commands that are to be sent now, and what else is wished."""
        return self._scene.driving.take_sends()

    def take_events(self) -> list[Event]:
        """Hand over what is to be journalled, in the order in which it happened."""
        events = self._scene.driving.take_events() + self._scene.events
        self._scene.events = []
        return events

    # --- cases ---------------------------------------------------------------------------------

    def _pass_on(self, seen: Observation, now: Instant) -> None:
        if self._case is not None:
            self._case.receive(seen, now)
        elif self._placing is not None:
            self._placing.receive(seen, now)

    def _advance(self, now: Instant) -> None:
        while self._case is not None and self._case.done:
            self._end_case(self._case, now)
        if self._placing is not None and self._placing.done:
            self._end_run(self._placing, now)
        self._stirred = True

    def _look_ahead(self) -> None:
        """Ask whatever is on what it waits for: once, until something stirs it again."""
        stage = self._case if self._case is not None else self._placing
        self._wakeup = None if stage is None else stage.next_wakeup()
        self._heeded = () if stage is None else stage.heeds()
        self._stirred = False

    def _end_case(self, ended: CaseRun, now: Instant) -> None:
        outcome = ended.outcome
        if outcome is Outcome.PASS and ended.attempt > 1:
            outcome = Outcome.UNSTABLE
        self._scene.events.append(ended.ended_event(outcome))
        self._case = None
        again = outcome is Outcome.FAIL and ended.attempt <= self._retries and not self.aborted
        if again:
            self._start_case(ended.case, ended.index, ended.attempt + 1, now)
            return
        self.counts[outcome.word] += 1
        if not self._paced or self.aborted:
            self._begin(now)

    def _proceed(self, index: int | None, now: Instant) -> None:
        """Start the case that was waited for; those that were passed over are not run."""
        if self._case is not None or self._phase is not Phase.CASES:
            return
        stop = len(self._cases) if index is None else index
        for passed_over in range(self._next, stop):
            if self._cases[passed_over].skip:
                self._skip(self._cases[passed_over], passed_over, now)
            else:
                self.counts[Outcome.NOT_RUN.word] += 1
        self._next = max(stop, self._next)
        if index is None:
            self._make_safe(now, SAFE_LIMIT)
            return
        self._next += 1
        self._start_case(self._cases[index], index, 1, now)

    def _begin(self, now: Instant) -> None:
        """Start the next case that may run; after the last one make everything safe."""
        while self._next < len(self._cases) and not self.aborted:
            case, index = self._cases[self._next], self._next
            self._next += 1
            if not case.skip:
                self._start_case(case, index, 1, now)
                return
            self._skip(case, index, now)
        self._make_safe(now, SAFE_LIMIT)

    def _start_case(self, case: Case, index: int, attempt: int, now: Instant) -> None:
        nodes = self._confirm(case)
        self._case = CaseRun(self._scene, case, index, attempt, now, nodes)

    def _skip(self, case: Case, index: int, now: Instant) -> None:
        at = self._scene.since_origin(now)
        self.counts[Outcome.SKIPPED.word] += 1
        self._scene.events += skipped(case, index, at, case.skip)

    # --- trouble -------------------------------------------------------------------------------

    def _note(self, seen: NodeNote | HostNote | ProgramEnded, now: Instant) -> None:
        self._scene.events.append(noted(seen, self._scene.since_origin(seen.at)))
        if not isinstance(seen, NodeNote):
            return
        if seen.trouble is NodeTrouble.REBOOT:
            self._scene.exchanges.pop(seen.node, None)
        if seen.trouble is NodeTrouble.IDENTITY:
            self._distrust(seen.node, seen.text, now)

    def _distrust(self, node: str, text: str, now: Instant) -> None:
        """End the run; whatever has taken the node's place gets nothing more, the rest is made safe."""
        why = f"nothing more was sent to {node}, which is not the node it must be: {text}"
        if node not in self.distrusted:
            self.distrusted[node] = why
            self._scene.driving.distrust(node, why, now)
        self._abort(f"{node} is not the node it must be: {text}", SAFE_LIMIT, now)

    def _abort(self, reason: str, patience: Duration, now: Instant) -> None:
        limit = after(now, patience)
        if self._phase is Phase.CASES:
            self.aborted = reason
            self._scene.driving.halt()
            if self._case is not None:
                self._case.break_off(f"the run ended here: {reason}", now)
                self._end_case(self._case, now)
            elif self._paced:
                self._begin(now)
        elif self._placing is not None:
            self.aborted = self.aborted or reason
            self._placing.hurry(limit)
            self._placing.tick(now)  # what was refused meanwhile is over

    # --- safe ----------------------------------------------------------------------------------

    def _make_safe(self, now: Instant, limit: Duration) -> None:
        self._phase = Phase.SAFE
        self.counts[Outcome.NOT_RUN.word] += len(self._cases) - self._next
        self._next = len(self._cases)
        self._placing = make_safe(self._scene, now, limit)
        self._advance(now)

    def _end_run(self, placing: Securing, now: Instant) -> None:
        self._phase = Phase.OVER
        self.done = True
        self._placing = None
        at = self._scene.since_origin(now)
        left = list(left_safe(placing.targets, self.distrusted, at))
        self._scene.events += left
        self.safe = all(each.confirmed for each in left)
        self._scene.events.append(
            RunEnded(
                at=at,
                outcome=self.outcome.word,
                counts=dict(self.counts),
                aborted=self.aborted,
                safe=self.safe,
            )
        )
