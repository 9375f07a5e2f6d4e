"""One attempt at a case: precondition, steps, restore.

    GREETING       every node it uses is made sure of; one that is not leaves the case inconclusive
    PRECONDITION   must be so, or become so; otherwise the case is inconclusive
    STEPS          in order; after one that did not pass the rest are not run
    RESTORE        everything driven goes back to its resting value, unless the case says no
    OVER           `outcome` and `reasons`

A node that rebooted without being told to fails the case, even if all values were right.  One
that rebooted before it was made sure of did so before the case: that is told and fails nothing.
"""

from collections.abc import Container, Sequence

from hil.core.asking import AskedStep
from hil.core.event import CaseEnded, StepStarted
from hil.core.greeting import Greeting
from hil.core.instant import Duration, Instant, show_duration, since
from hil.core.observation import NodeNote, NodeTrouble, Observation
from hil.core.plan import Case, numbered_steps
from hil.core.scene import Scene
from hil.core.securing import Securing, away, not_put_back, put_back
from hil.core.step import StepRun
from hil.core.telling import case_begun
from hil.core.verdict import Outcome, worst


class CaseRun:
    """The machine of one attempt at a case."""

    def __init__(
        self,
        scene: Scene,
        case: Case,
        index: int,
        attempt: int,
        start: Instant,
        nodes: Sequence[str] = (),
    ) -> None:
        """Begin; `nodes` are those that are made sure of first."""
        self._scene = scene
        self.case = case
        self.index = index
        self.attempt = attempt
        self._start = start
        self._ended = start
        self._outcomes: list[Outcome] = []
        self._reasons: list[str] = []
        self._blamed: dict[str, None] = {}  # in order of appearance
        self._unsure: dict[str, None] = {}  # likewise
        self._steps = numbered_steps(case)
        self._next = 0
        self._stopped = False
        self._step: StepRun | AskedStep | None = None
        self._restore: Securing | None = None
        self._greeting = Greeting(scene, nodes) if nodes else None
        self._touched: dict[str, None] = {}  # in the order in which they were first driven
        self.done = False
        scene.events.append(case_begun(case, index, attempt, scene.since_origin(start)))
        self._advance(start)

    @property
    def outcome(self) -> Outcome:
        return worst(self._outcomes)

    @property
    def putting_back(self) -> bool:
        """Return whether the steps are over and what they drove is being put back."""
        return self._restore is not None

    # --- the machine ---------------------------------------------------------------------------

    def receive(self, seen: Observation, now: Instant) -> None:
        """Pass it to the stage that is on; notice unplanned reboots in all of them."""
        if isinstance(seen, NodeNote) and seen.trouble is NodeTrouble.REBOOT:
            self._note_reboot(seen)
        stage = self._stage
        if stage is not None:
            stage.receive(seen, now)
        self._advance(now)

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        stage = self._stage
        if stage is not None:
            stage.tick(now)
        self._advance(now)

    def next_wakeup(self) -> Instant | None:
        """Return when the stage that is on wants to be woken."""
        stage = self._stage
        return None if stage is None else stage.next_wakeup()

    def heeds(self) -> Container[str]:
        """Return the nodes whose samples may change anything now."""
        stage = self._stage
        return () if stage is None else stage.heeds()

    def take_sends(self) -> tuple[()]:
        """Return nothing: commands leave through the scene's driving."""
        return ()

    def break_off(self, reason: str, now: Instant) -> None:
        """End at once, as an error, without restoring: the whole rack is about to be made safe."""
        if self._step is not None:
            self._step.break_off(reason, now)
        self._outcomes.append(Outcome.ERROR)
        self._reasons.insert(0, reason)
        self._end(now)

    # --- stages --------------------------------------------------------------------------------

    @property
    def _stage(self) -> Greeting | StepRun | AskedStep | Securing | None:
        if self._greeting is not None:
            return self._greeting
        return self._step if self._step is not None else self._restore

    def _advance(self, now: Instant) -> None:
        while not self.done:
            if self._greeting is not None:
                if not self._greeting.done:
                    return
                self._end_greeting(self._greeting, now)
            elif self._step is not None:
                if not self._step.done:
                    return
                self._collect(self._step)
            elif self._restore is not None:
                if self._restore.done:
                    self._finish_restore(self._restore, now)
                return
            else:
                self._begin_next(now)

    def _end_greeting(self, greeting: Greeting, now: Instant) -> None:
        self._greeting = None
        self._unsure.update(dict.fromkeys(greeting.unconfirmed))
        for node, why in greeting.unconfirmed.items():
            self._outcomes.append(Outcome.INCONCLUSIVE)
            self._reasons.append(
                f"{self.case.title}: nobody knows who is at the address of {node}: {why}; "
                "nothing was driven"
            )
        if greeting.unconfirmed:
            self._end(now)

    def _begin_next(self, now: Instant) -> None:
        if self._next < len(self._steps) and not self._stopped:
            number, step = self._steps[self._next]
            self._next += 1
            self._touched.update(dict.fromkeys(step.drives))
            at, where = self._scene.since_origin(now), str(step.mark)
            begun = StepStarted(at=at, index=self.index, step=number, place=where)
            self._scene.events.append(begun)
            kind = StepRun if step.ask is None else AskedStep
            self._step = kind(self._scene, self.case, self.index, step, number, now)
        elif self.case.restore and self._touched:
            self._restore = put_back(self._scene, self._touched, now)
        else:
            self._end(now)

    def _collect(self, step: StepRun | AskedStep) -> None:
        self._outcomes += step.outcomes
        self._reasons += step.reasons
        self._blamed.update(dict.fromkeys(step.blamed))
        self._unsure.update(dict.fromkeys(step.unsure))
        self._stopped |= any(outcome is not Outcome.PASS for outcome in step.outcomes)
        self._step = None
        left = len(self._steps) - self._next
        if self._stopped and left:
            numbers = [number for number, _ in self._steps[self._next :]]
            which = (
                f"step {numbers[0]} was"
                if left == 1
                else (f"steps {numbers[0]} to {numbers[-1]} were")
            )
            self._reasons.append(f"{which} not run")

    def _finish_restore(self, restore: Securing, now: Instant) -> None:
        self._unsure.update(dict.fromkeys(away(restore)))
        for why in not_put_back(restore):
            self._outcomes.append(Outcome.INCONCLUSIVE)
            self._reasons.append(f"{self.case.title}: {why}")
        self._end(now)

    def _note_reboot(self, note: NodeNote) -> None:
        if note.node in self.case.reboots:
            return
        if self._greeting is not None:
            self._reasons.append(f"{note.node} rebooted before the case began ({note.text})")
            return
        self._outcomes.append(Outcome.FAIL)
        self._stopped = True
        self._blamed[note.node] = None
        when = self._when_rebooted(note)
        self._reasons.insert(0, f"{self.case.title}: {note.node} rebooted {when} ({note.text})")

    def _when_rebooted(self, note: NodeNote) -> str:
        """Say between which instants it was, as far as the node was heard before."""
        first = f"{show_duration(since(self._start, note.at))} of the case"
        if note.since is None:
            return f"before {first}"
        heard = since(self._start, note.since)
        if heard < 0:
            return f"between {show_duration(Duration(-heard))} before the case and {first}"
        return f"between {show_duration(heard)} and {first}"

    def _end(self, now: Instant) -> None:
        self.done = True
        self._step = self._restore = self._greeting = None
        self._ended = now
        if not self._outcomes:
            self._outcomes.append(Outcome.PASS)

    def ended_event(self, outcome: Outcome) -> CaseEnded:
        """Return the closing line of this attempt; `outcome` may say `unstable` for a pass."""
        return CaseEnded(
            at=self._scene.since_origin(self._ended),
            index=self.index,
            plan=self.case.plan,
            case=self.case.title,
            outcome=outcome.word,
            attempt=self.attempt,
            took=since(self._start, self._ended),
            reasons=tuple(self._reasons),
            blamed=tuple(self._blamed),
            unsure=tuple(self._unsure),
        )
