"""Plans as the engine reads them: frozen, resolved, with every quantity in its signal's unit.

The reader (hil.files) has already checked everything here against the bench: signals exist,
dimensions fit, commands lie inside their ranges.  Every part keeps the place it came from.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from hil.core.error import Mark
from hil.core.instant import ZERO, Duration
from hil.core.signal import Value

if TYPE_CHECKING:
    from hil.core.job import Job
    from hil.core.meter import Measure


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """A number must lie between `low` and `high`; None is an open end.

    `target` is the value that was asked for, where there was one.
    """

    low: Decimal | None
    high: Decimal | None
    low_inclusive: bool = True
    high_inclusive: bool = True
    target: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OneOf:
    """A value must equal one of these: labels, texts, or exact numbers."""

    values: tuple[Value, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unchanged:
    """A value must stay within `tolerance` of the last one seen before the stimulus."""

    tolerance: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Invalid:
    """The node must say that it has no measurement (a sensor fault is expected)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Not:
    """A valid value must be anything but this."""

    condition: "Limits | OneOf"


Condition = Limits | OneOf | Unchanged | Invalid | Not


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """When a condition must hold; all durations count from the stimulus.

    within      it must become true at or before this (with `hold`: and then stay true so long)
    not_before  it must not be true earlier than this
    during      it must be true throughout this window (from, to)
    never       it must not become true up to this
    Exactly one of within, during and never is set.
    """

    within: Duration | None = None
    hold: Duration | None = None
    not_before: Duration | None = None
    during: tuple[Duration, Duration] | None = None
    never: Duration | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Expectation:
    """One condition on one or several signals; each signal must satisfy it by itself.

    `wanted` is the condition in words (`4.80 ± 0.05 bar`), `when` the timing in words.  With a
    `measure` that one judges, and condition and timing say only what it was made from.
    """

    signals: tuple[str, ...]
    condition: Condition
    timing: Timing
    wanted: str
    when: str
    mark: Mark
    measure: "Measure | None" = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stimulus:
    """One driven signal and the value it is given."""

    signal: str
    value: Value
    mark: Mark


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """What a step asks of a person: to act, or to look.

    `within` is the time for an answer, `wanted` the answer to a look that passes (yes or no).
    `by` says what the bench does or looks at instead, empty where a person is asked; the step's
    stimuli and expectations then are the bench's own.
    """

    act: bool
    text: str
    within: Duration
    mark: Mark
    wanted: str = "yes"
    by: str = ""

    @property
    def trusting(self) -> bool:
        """Whether the value in force counts: the effect of a hand comes before its word."""
        return not self.act or not self.by

    @property
    def moment(self) -> str:
        """What times count from, in the words of a verdict."""
        if self.by:
            return "after the stimulus" if self.act else "after the question"
        return "after it was done" if self.act else "after the stimulus"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Wait, then stimulate, then watch until every expectation is decided and the job is done.

    One with `ask` asks a person first, or last (hil.core.asking).
    """

    stimuli: tuple[Stimulus, ...]
    expectations: tuple[Expectation, ...]
    wait: Duration
    mark: Mark
    job: "Job | None" = None
    ask: Ask | None = None

    @property
    def drives(self) -> tuple[str, ...]:
        """The signals it drives, or its job may drive, in full."""
        stimulated = (stimulus.signal for stimulus in self.stimuli)
        return (*stimulated, *(self.job.drives if self.job is not None else ()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One thing to prove.

    `title` includes the values of `vary` in brackets and is unique within its plan;
    `variation` is that bracket alone, without the brackets, or empty.  `reboots` names the nodes
    that may reboot during the case.  `skip` is a reason not to run it here, or empty.
    """

    plan: str
    title: str
    variation: str
    requirements: tuple[str, ...]
    tags: tuple[str, ...]
    precondition: tuple[Expectation, ...]
    steps: tuple[Step, ...]
    restore: bool
    reboots: tuple[str, ...]
    skip: str
    mark: Mark


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One plan file: its title, its path as given, the SHA-256 of its bytes, its cases."""

    title: str
    file: str
    digest: str
    cases: tuple[Case, ...]


def numbered_steps(case: Case) -> list[tuple[int, Step]]:
    """Return what is judged in a case, in order: the precondition as step 0, then its steps."""
    steps = list(enumerate(case.steps, start=1))
    if case.precondition:
        before = Step(stimuli=(), expectations=case.precondition, wait=ZERO, mark=case.mark)
        steps.insert(0, (0, before))
    return steps
