"""How long a run will still take: what its cases say beforehand, set right by how they go.

A case says how long it may take by its own windows, before anything runs: a pause and `during`
last as long as they are, `within` about half of its limit.  How much slower or faster the rack
really is shows by and by; until then the plan itself counts like `TRUST` seconds of experience.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from hil.core.instant import SECOND
from hil.core.plan import Case, Step, Timing

if TYPE_CHECKING:
    from hil.core.job import Job

TRUST = 5.0
"""How many seconds of a run weigh as much as what the plan says."""

_AROUND = 0.05
"""Seconds that commands and putting back take with each case (measured on the demo rack)."""

_DIALOGUE = 5.0
"""Seconds for a job whose length nothing says beforehand (measured on the demo rack: 2 to 11)."""


def expected_seconds(case: Case) -> float:
    """Return about how long a case takes, by its own windows."""
    return 0.0 if case.skip else _AROUND + sum(_of_step(step) for step in case.steps)


def _of_step(step: Step) -> float:
    windows = [_of_timing(one.timing) for one in step.expectations]
    return step.wait / SECOND + max([_of_job(step.job), *windows])


def _of_job(job: "Job | None") -> float:
    from hil.measure.repeating import Repeating

    if isinstance(job, Repeating):
        return job.count * expected_seconds(job.case)
    return 0.0 if job is None else _DIALOGUE


def _of_timing(timing: Timing) -> float:
    if timing.during is not None:
        return timing.during[1] / SECOND
    if timing.never is not None:
        return timing.never / SECOND
    reached = max(timing.not_before or 0, (timing.within or 0) // 2)
    return (reached + (timing.hold or 0)) / SECOND


class Forecast:
    """The time left, from the cases that are over; `trust` is 0 where the plan's pace says nothing.

    Seconds are of any clock that the caller reads; this file reads none.
    """

    def __init__(self, expected: Sequence[float], began: float, trust: float = TRUST) -> None:
        self._expected = expected
        self._trust = trust
        self._over: set[int] = set()
        self._began = self._latest = began

    @property
    def done(self) -> int:
        """How many cases are over."""
        return len(self._over)

    def began(self, index: int) -> None:
        """Learn that a case, or another attempt at it, begins."""
        self._over.discard(index)

    def ended(self, index: int, now: float) -> None:
        """Learn that a case ended."""
        self._over.add(index)
        self._latest = now

    def left(self, now: float) -> float | None:
        """Return the seconds left; None where nothing is known, or nothing is left."""
        spent = sum(self._expected[index] for index in self._over) + self._trust
        coming = sum(self._expected) + self._trust - spent
        if not spent or not coming:
            return None
        pace = (self._latest - self._began + self._trust) / spent
        return max(0.0, coming * pace - (now - self._latest))


def show_left(seconds: float | None) -> str:
    """Say how long it will still take.

    >>> show_left(60.2), show_left(None), show_left(7020.0)
    ('about 60 s left', '', 'about 117 min left')
    """
    if seconds is None:
        return ""
    return f"about {seconds:.0f} s left" if seconds < 120 else f"about {seconds / 60:.0f} min left"
