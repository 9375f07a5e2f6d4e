"""Verdicts, and whose fault they name.

    pass          the node did what was wanted
    unstable      it did on a later attempt only
    fail          the node is wrong
    inconclusive  the bench could not tell
    error         the bench or the tool broke
    skipped       not meant to run here
    not run       the run ended first

`margin` is how far a check was from its limit, as a fraction of the allowed window: 1 at the
centre, 0 on the limit, negative outside.
"""

from enum import Enum

from hil.core.instant import Duration


class Outcome(Enum):
    """The verdict of a check, a case or a run; `word` is what people read."""

    PASS = "pass"
    UNSTABLE = "unstable"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"
    ERROR = "error"
    SKIPPED = "skipped"
    NOT_RUN = "not run"

    @property
    def word(self) -> str:
        return self.value


_SEVERITY = {
    Outcome.SKIPPED: 0,
    Outcome.PASS: 1,
    Outcome.UNSTABLE: 2,
    Outcome.NOT_RUN: 3,
    Outcome.INCONCLUSIVE: 4,
    Outcome.FAIL: 5,
    Outcome.ERROR: 6,
}


def worst(outcomes: "list[Outcome] | tuple[Outcome, ...]") -> Outcome:
    """Return the worst outcome: error, fail, inconclusive, not run, unstable, pass, skipped.

    With no outcomes at all nothing was proven: not run.
    """
    return max(outcomes, key=_SEVERITY.__getitem__, default=Outcome.NOT_RUN)


def window_margin(elapsed: Duration, limit: Duration) -> float:
    """Return how much of a deadline was left: 1 at once, 0 exactly on it, negative when late."""
    if limit == 0:
        return 0.0 if elapsed <= 0 else -1.0
    return (limit - elapsed) / limit
