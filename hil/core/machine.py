"""The one shape of everything that lives in time.

A machine never reads a clock, never does I/O, never reaches for global chance:

    receive(thing, now)   something arrived; now is the arrival's own instant
    tick(now)             time has reached this instant
    next_wakeup()         the instant at which something changes by itself, or None (pure)
    take_sends()          what it wants sent; emptied by the call

The laws, checked by one suite over every machine (tests/laws.py):

* now never goes back;
* after tick(next_wakeup()) the next wakeup is later, or None;
* a tick before the next wakeup changes nothing;
* at one instant arrivals come before timers: a deadline is inclusive, and "no answer" is
  decided one nanosecond after it.
"""

from typing import Any, Protocol

from hil.core.instant import Instant


class Machine(Protocol):
    """What every machine offers; `receive` and `take_sends` name their own types."""

    def receive(self, thing: Any, now: Instant) -> None:
        """Take in something that arrived at `now`."""

    def tick(self, now: Instant) -> None:
        """Learn that time has reached `now`."""

    def next_wakeup(self) -> Instant | None:
        """Return when something changes by itself; None when nothing will."""

    def take_sends(self) -> tuple[Any, ...]:
        """Hand over what is to be sent, and forget it."""
