"""The heavy libraries behind the measures: loaded before a run, and only where it needs them.

Importing them takes up to a second.  In the middle of a run that second would be the bench computer's
own lateness, and what is judged meanwhile inconclusive.
"""

from collections.abc import Iterable, Iterator
from importlib import import_module

from hil.core.plan import Case, Step
from hil.measure.repeating import Repeating
from hil.measure.response import ResponseMeasure
from hil.measure.tracking import Tracking

_NUMBERS, _CHANCES, _SIGNALS = "numpy", "scipy.special", "scipy.signal"


def libraries(cases: Iterable[Case]) -> frozenset[str]:
    """Return the names of the libraries that the measures of these cases use."""
    found: set[str] = set()
    for case in cases:
        for step in case.steps:
            found |= set(_of_step(step))
    return frozenset(found)


def load_libraries(cases: Iterable[Case]) -> None:
    """Import them now."""
    for name in sorted(libraries(cases)):
        import_module(name)


def _of_step(step: Step) -> Iterator[str]:
    if any(isinstance(one.measure, ResponseMeasure) for one in step.expectations):
        yield _NUMBERS
    if isinstance(step.job, Tracking):
        yield from (_NUMBERS, _SIGNALS)
    if isinstance(step.job, Repeating):
        yield _CHANCES
        yield from libraries([step.job.case])
