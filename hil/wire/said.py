"""What somebody who listens makes of what is said: a signal driven, and whether it was done."""

from dataclasses import dataclass

from hil.core.signal import Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Driven:
    """A request that drives a signal; `number` comes back in its answer, where it has one."""

    signal: str
    value: Value
    number: int | None
    operation: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Replied:
    """An answer: to which request, and whether it was done."""

    number: int | None
    operation: int | None
    accepted: bool
    detail: str
