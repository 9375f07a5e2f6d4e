"""How many trials went, and how long they took: counts, ends, median."""

from statistics import median

from hil.core.event import TrialEnded
from hil.core.verdict import Outcome

LATENCIES_KEPT = 10_000


class Spread:
    """The trials of one step; a latency is taken at the late end of its interval."""

    def __init__(self) -> None:
        self.count = 0
        self.passed = 0
        self.latencies: list[int] = []
        self.first_failure = ""

    def receive(self, trial: TrialEnded) -> None:
        """Take in one trial."""
        self.count += 1
        self.passed += trial.outcome == Outcome.PASS.word
        if trial.latency is not None and len(self.latencies) < LATENCIES_KEPT:
            self.latencies.append(trial.latency[1])
        if trial.outcome != Outcome.PASS.word and not self.first_failure:
            self.first_failure = "; ".join(trial.reasons) or trial.outcome

    @property
    def shortest(self) -> int | None:
        """The shortest latency in nanoseconds; None where none was measured."""
        return min(self.latencies, default=None)

    @property
    def middle(self) -> int | None:
        """The median latency."""
        return int(median(self.latencies)) if self.latencies else None

    @property
    def longest(self) -> int | None:
        """The longest latency."""
        return max(self.latencies, default=None)
