"""Cases, steps, commands and checks as the journal tells them."""

from dataclasses import dataclass
from typing import ClassVar

from hil.core.event.event import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseStarted(Event):
    """A case begins; `attempt` counts from 1, `index` from 0 in the list of RunStarted."""

    kind: ClassVar[str] = "case-started"
    index: int
    plan: str
    case: str
    attempt: int
    place: str
    requirements: tuple[str, ...]
    tags: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepStarted(Event):
    """A step begins; `step` counts from 1, 0 is the precondition."""

    kind: ClassVar[str] = "step-started"
    index: int
    step: int
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandLogged(Event):
    """A command and what became of it: `state` is sent, accepted, refused or lost."""

    kind: ClassVar[str] = "command"
    token: int
    signal: str
    value: str
    purpose: str
    state: str
    detail: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckDecided(Event):
    """One signal against one expectation.

    `elapsed` is the time from the stimulus to what decided the check; `change` the interval in
    which the deciding change lies, both ends counted from the stimulus; `margin` a fraction of
    the window or None; `gap` the longest time without a look at the signal; `seen` how many
    samples counted; `last` the bytes of the last datagram that carried the signal.  `figures` are
    what a measure found: (name, low, likely, high, unit), times in ns, an open end None.
    `stimulus` is the instant from which times count; `limits` is the condition for pictures, see
    hil.core.outline; `timing` are (within, hold, not before, from, to or never; ns).
    """

    kind: ClassVar[str] = "check"
    index: int
    step: int
    signal: str
    node: str
    wanted: str
    when: str
    outcome: str
    got: str
    elapsed: int | None
    change: tuple[int, int] | None
    margin: float | None
    gap: int | None
    seen: int
    text: str
    place: str
    last: str = ""
    figures: tuple[tuple[str, float, float, float | None, str], ...] = ()
    stimulus: int | None = None
    limits: tuple[str, ...] = ()
    timing: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialEnded(Event):
    """One of many trials is over; `latency` is the interval it lies in, None where it failed."""

    kind: ClassVar[str] = "trial"
    index: int
    step: int
    number: int
    outcome: str
    latency: tuple[int, int] | None
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseEnded(Event):
    """A case is over; `reasons` are whole sentences for people, most important first.

    `blamed` are the nodes that failed it by something other than a check: by a reboot that nobody
    asked for, or by refusing a stimulus.  `unsure` are those that nobody is sure of: they did
    not say who they are, did not confirm a stimulus, or something of theirs was not put back.
    """

    kind: ClassVar[str] = "case-ended"
    index: int
    plan: str
    case: str
    outcome: str
    attempt: int
    took: int
    reasons: tuple[str, ...]
    blamed: tuple[str, ...] = ()
    unsure: tuple[str, ...] = ()
