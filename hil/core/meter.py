"""Measures: expectations that the value of one signal at one moment does not decide.

A watch (hil.core.expectation) asks whether a value was so in time.  Some things take more: a whole
response, several signals together, the datagrams of a node.  Such a measure is described by its own
layer (hil.measure), belongs to an expectation, and becomes meters: machines which hear everything
from the beginning of their step, so also what came before the stimulus.
"""

from collections.abc import Sequence
from typing import Protocol

from hil.core.expectation import Finding
from hil.core.instant import Instant
from hil.core.observation import Observation
from hil.core.plan import Expectation
from hil.core.scene import Scene
from hil.core.signal import Sample, Signal


class Meter(Protocol):
    """A measure at work; decided when it has a `finding`.

    `signal` is what the report names, and its node is the one that answers for it.
    """

    expectation: Expectation
    signal: Signal
    before: Sample | None
    finding: Finding | None
    seen: int

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take in whatever a link observed."""

    def stimulated(self, at: Instant) -> None:
        """Learn that the stimulus left: all times count from here."""

    def tick(self, now: Instant) -> None:
        """Learn that time has reached `now`."""

    def next_wakeup(self) -> Instant | None:
        """Return when something changes by itself; None before the stimulus."""


class Measure(Protocol):
    """The frozen description of a measure."""

    def begin(self, scene: Scene, expectation: Expectation, now: Instant) -> Sequence[Meter]:
        """Set it to work at the beginning of its step."""
