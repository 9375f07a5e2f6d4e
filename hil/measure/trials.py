"""Many trials, one statement, decided as early as the answer is certain.

The statement: a trial passes with a probability of at least p, shown with confidence c in n
trials.  By the exact binomial distribution (Clopper–Pearson, one-sided):

    failures f     0 … a                     a + 1 … r − 1         r … n
    verdict        pass: at least p          inconclusive          fail: less than p
                   P(≤ f failures | p) ≤ 1 − c                     P(≥ f failures | p) ≤ 1 − c

The verdict after n trials depends on the number of failures alone, so it is certain as soon as
the rest of the trials cannot change it any more (curtailed sampling); stopping there costs no
confidence, since the run to the end would say the same.
"""

from bisect import bisect_left
from dataclasses import dataclass, field

from hil.core.verdict import Outcome


@dataclass(frozen=True, slots=True)
class Statement:
    """At least `share` of all trials pass, with `confidence`, on the evidence of `trials` trials.

    `most_failures` (a above) still prove it, `least_failures` (r) disprove it; both are worked out.
    `most_failures` is -1 where not even trials without a failure would prove it.
    """

    share: float
    confidence: float
    trials: int
    most_failures: int = field(init=False)
    least_failures: int = field(init=False)

    def __post_init__(self) -> None:
        if self.trials < 1:
            raise ValueError("a statement needs at least one trial")
        if not (0 < self.share < 1 and 0 < self.confidence < 1):
            raise ValueError("share and confidence lie between 0 and 1")
        most, least = _limits(self.share, self.confidence, self.trials)
        object.__setattr__(self, "most_failures", most)
        object.__setattr__(self, "least_failures", least)

    @property
    def provable(self) -> bool:
        """Whether trials without a failure would prove it; if not, the plan is refused."""
        return self.most_failures >= 0


def _limits(share: float, confidence: float, trials: int) -> tuple[int, int]:
    """Return a and r by bisection over the number of failures."""
    from scipy.special import bdtr, bdtrc

    doubt = (1 - confidence) * (1 + 1e-12)  # 0.05 is not a binary fraction
    failing = 1 - share

    def proves(failures: int) -> bool:
        return bool(bdtr(failures, trials, failing) <= doubt)

    def disproves(failures: int) -> bool:
        return bool(bdtrc(failures - 1, trials, failing) <= doubt)

    counts = range(trials + 1)
    most = bisect_left(counts, True, key=lambda failures: not proves(failures)) - 1
    least = bisect_left(counts, True, key=disproves)
    return most, least


class Trials:
    """The trials so far; `decided` is the verdict once it is certain, None before.

    A trial on which the bench could not tell is not added; it has to be run again.
    """

    def __init__(self, statement: Statement) -> None:
        self.statement = statement
        self.passes = 0
        self.failures = 0

    @property
    def seen(self) -> int:
        """How many trials there were."""
        return self.passes + self.failures

    def add(self, passed: bool) -> None:
        """Count one trial; ValueError beyond the number that was stated."""
        if self.seen >= self.statement.trials:
            raise ValueError(f"all {self.statement.trials} trials have been counted")
        if passed:
            self.passes += 1
        else:
            self.failures += 1

    @property
    def can_pass(self) -> bool:
        """Whether the statement can still be proven."""
        return self.failures <= self.statement.most_failures

    @property
    def decided(self) -> Outcome | None:
        """The verdict that no further trial can change; None while one can."""
        most, least = self.statement.most_failures, self.statement.least_failures
        at_worst = self.failures + self.statement.trials - self.seen
        if self.failures >= least:
            return Outcome.FAIL
        if at_worst <= most:
            return Outcome.PASS
        if self.failures > most and at_worst < least:
            return Outcome.INCONCLUSIVE
        return None

    @property
    def margin(self) -> float:
        """How much of the allowed failures is left: 1 none used, 0 all, negative beyond."""
        most = self.statement.most_failures
        if most <= 0:
            return float(most - self.failures) if self.failures or most else 1.0
        return (most - self.failures) / most
