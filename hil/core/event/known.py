"""Known faults as the journal tells them."""

from dataclasses import dataclass
from typing import ClassVar

from hil.core.event.event import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownFault(Event):
    """A known fault that somebody has written down, told before anything moves.

    It is about the check of `signal` in the case `case` of the plan `plan` (titles), in step
    `step` where that is not None, of the figure `measure` where that is not empty.  The fault is
    seen where the value is one of `values`, or lies between `low` and `high` (numbers as text in
    `unit`, empty for an open end), and what decided came between `earliest` and `latest` ns after
    the stimulus.  After the day `until` (YYYY-MM-DD) it is known no longer.
    """

    kind: ClassVar[str] = "known-fault"
    fault: str
    reason: str
    reference: str
    plan: str
    case: str
    signal: str
    step: int | None
    measure: str
    values: tuple[str, ...]
    low: str
    high: str
    unit: str
    earliest: int | None
    latest: int | None
    until: str
    place: str
