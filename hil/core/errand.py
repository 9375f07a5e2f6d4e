"""What a run asks of the bench besides commands to nodes, and what it hears back.

Prompt       ask the person at the bench to act or to look       → Replied, Unmanned
Withdrawn    that question is over, whoever answers it now
Halt         end every program of the bench that is still at work
Inquiry      make sure who answers at a node's address (the links do that)  → Confirmed, Unconfirmed
(a command)  on a signal that the bench drives by a program      → ProgramEnded, beside the
                                                                   command's own fate
"""

from dataclasses import dataclass
from enum import Enum

from hil.core.instant import Duration, Instant


class Reply(Enum):
    """What a person can answer; of an action it means done, not done, cannot tell."""

    YES = "yes"
    NO = "no"
    UNSURE = "can't tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Prompt:
    """Ask the person at the bench: to do something (`act`), or what is to be seen.

    An answer counts up to and including `until`; `token` comes back in it.
    """

    token: int
    act: bool
    text: str
    until: Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class Withdrawn:
    """The question `token` is over; `outcome` says in a word how."""

    token: int
    outcome: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Halt:
    """Every program of the bench that is still at work is to be ended."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inquiry:
    """Make sure who answers at a node's address, by a reading that comes after this is asked."""

    node: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Replied:
    """The person answered at `at`, the moment at which the answer was confirmed."""

    token: int
    at: Instant
    reply: Reply


@dataclass(frozen=True, slots=True, kw_only=True)
class Unmanned:
    """Nobody can be asked any more; `text` says why."""

    at: Instant
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramEnded:
    """A program of the bench is over.

    `argv` is its argument list as declared, `how` its end in words (`exit code 0`), `code` its
    exit code where it had one, `took` how long it ran.  Of what it printed, `size` octets, `head`
    and `tail` are kept.
    """

    signal: str
    value: str
    at: Instant
    argv: tuple[str, ...]
    how: str
    code: int | None
    took: Duration
    size: int
    head: str
    tail: str


Wish = Prompt | Withdrawn | Halt | Inquiry
"""What a run asks of the bench besides commands."""

Report = Replied | Unmanned | ProgramEnded
"""What the bench has to say about that."""
