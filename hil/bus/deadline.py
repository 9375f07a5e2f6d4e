"""Can the segment carry what a plan's deadline asks for?

    impossible    even with every turn coming at once the line needs longer than the deadline
    tight         the line alone may use more than half of the deadline, or may miss it
    comfortable   the line never uses more than half: the other half is the node's own

Half is our own rule: a deadline is there to judge the node, and what the line uses of it is
time the node is blamed for.
"""

from dataclasses import dataclass
from enum import Enum

from hil.core.instant import Duration, show_duration

NODE_SHARE = 2
"""The line may use one part in this many of a deadline that is comfortable."""


class Fit(Enum):
    """How a deadline stands to what the line needs."""

    IMPOSSIBLE = "impossible"
    TIGHT = "tight"
    COMFORTABLE = "comfortable"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruling:
    """What was found for one deadline, with a sentence for people."""

    fit: Fit
    sentence: str


def rule(best: Duration, worst: Duration | None, deadline: Duration) -> Ruling:
    """Say how a deadline fits a way that takes `best` at least and `worst` at most (None: no bound)."""
    asked = show_duration(deadline)
    if best > deadline:
        return Ruling(
            fit=Fit.IMPOSSIBLE,
            sentence=f"the line needs at least {show_duration(best)}, the deadline is {asked}",
        )
    if worst is None:
        return Ruling(
            fit=Fit.TIGHT,
            sentence=f"nothing bounds the time on the line, the deadline is {asked}",
        )
    longest = show_duration(worst)
    if worst > deadline:
        sentence = f"the line may need {longest}, the deadline is {asked}: a good node can miss it"
        return Ruling(fit=Fit.TIGHT, sentence=sentence)
    if worst * NODE_SHARE > deadline:
        left = show_duration(Duration(deadline - worst))
        sentence = f"the line may need {longest} of {asked}: {left} are left for the node"
        return Ruling(fit=Fit.TIGHT, sentence=sentence)
    return Ruling(fit=Fit.COMFORTABLE, sentence=f"the line needs at most {longest} of {asked}")
