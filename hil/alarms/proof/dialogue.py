"""What a procedure may ask for: it is a generator that yields requests and gets replies.

    Drive    a command, until it is accepted; repeated where no answer came
    Until    until something is so, or the deadline (which still counts) has passed
    Pause    until an instant
    Stop     end here: the rest is not run

A procedure knows time only from replies, so it can be replayed.
"""

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import TypeVar

from hil.core.instant import Instant
from hil.core.signal import Value
from hil.core.verdict import Outcome


@dataclass(frozen=True, slots=True)
class Drive:
    """Drive `signal` to `value`; where no answer comes it is sent `again` times more."""

    signal: str
    value: Value
    again: int = 2


@dataclass(frozen=True, slots=True)
class Until:
    """Wait until `so()` holds; it is asked again whenever something was observed."""

    so: Callable[[], bool]
    deadline: Instant


@dataclass(frozen=True, slots=True)
class Pause:
    """Wait until an instant."""

    until: Instant


@dataclass(frozen=True, slots=True)
class Stop:
    """Nothing more can be done; `outcome` says whose fault that is."""

    reason: str
    outcome: Outcome = Outcome.INCONCLUSIVE


@dataclass(frozen=True, slots=True)
class Reply:
    """What became of a request: at `now`, was it so (Until), when did the command leave (Drive)."""

    now: Instant
    met: bool = True
    sent: Instant = Instant(0)


T = TypeVar("T")
Request = Drive | Until | Pause | Stop
Steps = Generator[Request, Reply, T]
"""A part of a procedure that ends with a T."""
