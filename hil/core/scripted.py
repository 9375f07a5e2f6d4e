"""A case whose steps come one by one while it is on, from a program that looks at the answers.

    waiting ── Perform ──▶ the step runs ──▶ `told` what came of it ──▶ waiting
       └────── Dismiss ──▶ what was driven is put back ──▶ over

Each step is the machine of any other step.  The bench's own trouble excuses the step it falls into.
"""

from collections.abc import Callable
from dataclasses import dataclass

from hil.core.event import StepStarted
from hil.core.instant import Instant
from hil.core.observation import Observation
from hil.core.order import Dismiss, Peek, Perform
from hil.core.plan import Case
from hil.core.scene import Scene
from hil.core.securing import Securing, away, not_put_back, put_back
from hil.core.signal import Sample
from hil.core.step import StepRun
from hil.core.verdict import Outcome, worst


@dataclass(frozen=True, slots=True, kw_only=True)
class Performed:
    """What came of a step: how it ended, and why what did not pass did not."""

    outcome: Outcome
    reasons: tuple[str, ...]


Answer = Performed | Sample | None
"""What is told: of a step, of a signal (None for one of which nothing was seen), of the beginning."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scripted:
    """The job of a case that takes orders; `told` hears that it has begun, then every answer."""

    case: Case
    watches: tuple[str, ...]
    told: Callable[[Answer], object]
    drives: tuple[str, ...] = ()

    def begin(
        self, scene: Scene, where: str, index: int, step: int, start: Instant
    ) -> "ScriptedStage":
        """Begin to wait for orders."""
        return ScriptedStage(self, scene, index)


class ScriptedStage:
    """The machine; its steps count from 1."""

    weighs_host = True

    def __init__(self, job: Scripted, scene: Scene, index: int) -> None:
        self._job, self._scene, self._index = job, scene, index
        self._step: StepRun | None = None
        self._back: Securing | None = None
        self._number = 0
        self._touched: dict[str, None] = {}
        self.done = False
        self.outcomes: list[Outcome] = []
        self.reasons: list[str] = []
        self.blamed: list[str] = []
        self.unsure: list[str] = []
        job.told(None)

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take an order, or pass on what was observed."""
        match seen:
            case Perform(step=step):
                self._number += 1
                self._touched.update(dict.fromkeys(step.drives))
                at, where = self._scene.since_origin(now), str(step.mark)
                self._scene.events.append(
                    StepStarted(at=at, index=self._index, step=self._number, place=where)
                )
                case, number = self._job.case, self._number
                self._step = StepRun(self._scene, case, self._index, step, number, now)
            case Peek(signal=signal):
                self._job.told(self._scene.latest.get(signal))
            case Dismiss(outcome=outcome, reason=reason):
                if outcome is not None:
                    self.outcomes.append(outcome)
                    self.reasons.append(reason)
                self._back = put_back(self._scene, self._touched, now)
            case _:
                stage = self._step or self._back
                if stage is not None:
                    stage.receive(seen, now)
        self._advance()

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        stage = self._step or self._back
        if stage is not None:
            stage.tick(now)
        self._advance()

    def next_wakeup(self) -> Instant | None:
        """Return when the step that is on wants to be woken."""
        stage = self._step or self._back
        return None if stage is None else stage.next_wakeup()

    def take_sends(self) -> tuple[()]:
        """Return nothing: commands leave through the scene's driving."""
        return ()

    def break_off(self, reason: str, now: Instant) -> None:
        """End now."""
        if not self.done:
            self.outcomes.append(Outcome.ERROR)
            self.reasons.append(reason)
            if self._step is not None:
                self._job.told(Performed(outcome=Outcome.ERROR, reasons=(reason,)))
            self.done = True

    def _advance(self) -> None:
        if self._step is not None and self._step.done:
            step, self._step = self._step, None
            self.outcomes += step.outcomes
            self.reasons += step.reasons
            self.blamed += step.blamed
            self.unsure += step.unsure
            outcome = worst(step.outcomes) if step.outcomes else Outcome.PASS
            self._job.told(Performed(outcome=outcome, reasons=tuple(step.reasons)))
        if self._back is not None and self._back.done:
            self._take_back(self._back)

    def _take_back(self, back: Securing) -> None:
        self.unsure += away(back)
        for why in not_put_back(back):
            self.outcomes.append(Outcome.INCONCLUSIVE)
            self.reasons.append(f"{self._job.case.title}: {why}")
        self._back, self.done = None, True
