"""Several properties one after the other in one step of a plan.

Each concludes by itself, with its own events; one that did not pass does not stop the others.
What cannot be judged here is told as skipped.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from hil.alarms.proof.prove import ProofJob
from hil.alarms.proof.talk import Talk
from hil.core.event import AlarmProperty
from hil.core.instant import Instant
from hil.core.observation import Observation
from hil.core.scene import Scene
from hil.core.verdict import Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesJob:
    """Properties to be proven in this order."""

    jobs: tuple[ProofJob, ...]

    @property
    def drives(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(path for job in self.jobs for path in job.drives))

    @property
    def watches(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(path for job in self.jobs for path in job.watches))

    @property
    def reboots(self) -> tuple[str, ...]:
        """The nodes that may reboot meanwhile."""
        return tuple(dict.fromkeys(node for job in self.jobs for node in job.reboots))

    def begin(self, scene: Scene, where: str, index: int, step: int, start: Instant) -> "Series":
        """Set them to work."""
        return Series(scene, self.jobs, where, index, step, start)


class Series:
    """The machine of a series."""

    def __init__(
        self,
        scene: Scene,
        jobs: Sequence[ProofJob],
        where: str,
        index: int,
        step: int,
        start: Instant,
    ) -> None:
        self.outcomes: Sequence[Outcome] = ()
        self.reasons: Sequence[str] = ()
        self.blamed: Sequence[str] = ()
        self._scene, self._jobs = scene, jobs
        self._where, self._index, self._step = where, index, step
        self._next = 0
        self._talk: Talk | None = None
        self._advance(start)

    @property
    def done(self) -> bool:
        return self._talk is None

    def receive(self, seen: Observation, now: Instant) -> None:
        """Pass it to the property that is on."""
        if self._talk is not None:
            self._talk.receive(seen, now)
            self._advance(now)

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        if self._talk is not None:
            self._talk.tick(now)
            self._advance(now)

    def next_wakeup(self) -> Instant | None:
        """Return when the property that is on wants to be woken."""
        return None if self._talk is None else self._talk.next_wakeup()

    def break_off(self, reason: str, now: Instant) -> None:
        """End now; the properties that did not begin are not run."""
        if self._talk is None:
            return
        self._talk.break_off(reason, now)
        self._take_over(self._talk)
        self._talk = None
        for job in self._jobs[self._next :]:
            self._tell(job, Outcome.NOT_RUN, reason, now)
            self.outcomes = (*self.outcomes, Outcome.NOT_RUN)
        self._next = len(self._jobs)

    def _advance(self, now: Instant) -> None:
        while self._talk is None or self._talk.done:
            if self._talk is not None:
                self._take_over(self._talk)
                self._talk = None
            if self._next >= len(self._jobs):
                return
            job = self._jobs[self._next]
            self._next += 1
            if job.skip:
                self._tell(job, Outcome.SKIPPED, job.skip, now)
                continue
            where = f"{self._where}, {job.title}"
            self._talk = job.begin(self._scene, where, self._index, self._step, now)

    def _take_over(self, talk: Talk) -> None:
        self.outcomes = (*self.outcomes, *talk.outcomes)
        self.reasons = (*self.reasons, *talk.reasons)
        self.blamed = (*self.blamed, *talk.blamed)

    def _tell(self, job: ProofJob, outcome: Outcome, text: str, now: Instant) -> None:
        self._scene.events.append(
            AlarmProperty(
                at=self._scene.since_origin(now),
                index=self._index,
                step=self._step,
                spec=job.spec.name,
                signal=job.spec.signal,
                alarm=job.alarm,
                property=job.word,
                outcome=outcome.word,
                measured=(),
                text=text,
                place=str(job.mark),
                requirements=job.spec.requirements,
            )
        )
