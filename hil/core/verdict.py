"""Verdicts, and whose fault they name.

    pass          the node did what was wanted
    known         the node is wrong in a way that is written down, and not over yet
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
    KNOWN = "known"
    UNSTABLE = "unstable"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"
    ERROR = "error"
    SKIPPED = "skipped"
    NOT_RUN = "not run"

    @property
    def word(self) -> str:
        return self.value


JUDGED: tuple[Outcome, ...] = tuple(outcome for outcome in Outcome if outcome is not Outcome.KNOWN)
"""What a run itself can say; whether a failure is a known fault is for its reports to say."""

_SEVERITY = {
    Outcome.SKIPPED: 0,
    Outcome.PASS: 1,
    Outcome.KNOWN: 2,
    Outcome.UNSTABLE: 3,
    Outcome.NOT_RUN: 4,
    Outcome.INCONCLUSIVE: 5,
    Outcome.FAIL: 6,
    Outcome.ERROR: 7,
}


def worst(outcomes: "list[Outcome] | tuple[Outcome, ...]") -> Outcome:
    """Return the worst outcome: error, fail, inconclusive, not run, unstable, known, pass, skipped.

    With no outcomes at all nothing was proven: not run.
    """
    return max(outcomes, key=_SEVERITY.__getitem__, default=Outcome.NOT_RUN)


def window_margin(elapsed: Duration, limit: Duration) -> float:
    """Return how much of a deadline was left: 1 at once, 0 exactly on it, negative when late."""
    if limit == 0:
        return 0.0 if elapsed <= 0 else -1.0
    return (limit - elapsed) / limit
