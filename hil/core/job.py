"""Jobs: what a step does that takes more than one stimulus.

An expectation judges one response.  Some things to prove need a dialogue: search a trip point,
walk through every transition, repeat a trial two hundred times, follow a moving target.  Such a
job belongs to a step, is described by its own layer (hil.alarms, hil.measure), and becomes a
stage: a machine like any other, which drives signals through the scene and judges by itself.
"""

from collections.abc import Sequence
from typing import Protocol

from hil.core.instant import Instant
from hil.core.observation import Observation
from hil.core.scene import Scene
from hil.core.verdict import Outcome


class Stage(Protocol):
    """A job at work; when it is `done`, `outcomes` and `reasons` say how it went.

    Commands leave through `scene.driving`, what is to be journalled goes to `scene.events`.
    One that knows which nodes failed it names them in `blamed`; one that weighs by itself what the
    bench's own trouble throws doubt on says so with `weighs_host`.
    """

    @property
    def outcomes(self) -> Sequence[Outcome]:
        """How everything that it has decided came out."""

    @property
    def reasons(self) -> Sequence[str]:
        """Why what did not pass did not, in sentences."""

    @property
    def done(self) -> bool:
        """Whether everything it had to do is decided."""

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take in a sample, the fate of a command, or something odd about node or host."""

    def tick(self, now: Instant) -> None:
        """Learn that time has reached `now`."""

    def next_wakeup(self) -> Instant | None:
        """Return when something changes by itself."""

    def break_off(self, reason: str, now: Instant) -> None:
        """End now, keeping what was measured; the rest is not run."""


class Job(Protocol):
    """The frozen description of a dialogue.

    `drives` names every signal it may drive, so that the case can put them back.
    """

    @property
    def drives(self) -> tuple[str, ...]:
        """The signals it may drive, in full."""

    @property
    def watches(self) -> tuple[str, ...]:
        """The signals it looks at, in full."""

    def begin(self, scene: Scene, where: str, index: int, step: int, start: Instant) -> Stage:
        """Set it to work; `where` begins its sentences, `index` and `step` its events."""
