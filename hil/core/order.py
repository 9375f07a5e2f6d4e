"""What somebody beside the run may order it to do, where it does not simply go through its cases.

A paced run waits before each case.

    Proceed(index)   start that case; None: no more cases, make the rack safe and end
    Perform(step)    the case that takes orders (hil.core.scripted) does this step
    Peek(signal)     ... tells what it knows of a signal
    Dismiss()        ... puts back what it drove and is over
"""

from dataclasses import dataclass

from hil.core.plan import Step
from hil.core.verdict import Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Proceed:
    """Start case `index`, counted from 0; those before it that were not started are not run."""

    index: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Perform:
    """Do one step."""

    step: Step


@dataclass(frozen=True, slots=True, kw_only=True)
class Peek:
    """Tell the latest sample of a signal."""

    signal: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Dismiss:
    """There are no more steps; `outcome` and `reason` are what the program itself found, if any."""

    outcome: Outcome | None = None
    reason: str = ""


Order = Proceed | Perform | Peek | Dismiss
