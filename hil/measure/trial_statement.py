"""What many trials must show together: a share that passes, a percentile of the latency.

Both are the same question.  At least the share p of all trials is good, with confidence c; a trial
is good when it passed, or when its latency was at most the limit: the p-th percentile is at most L
exactly when at least the share p is.  So hil.measure.trials decides both, and early.

A latency of a sampled signal is an interval.  Where the limit lies in one, that trial counts as bad
for a pass and as good for a fail; so a verdict holds either way, or is inconclusive.
"""

from dataclasses import dataclass
from decimal import Decimal

from hil.core.expectation import Figure
from hil.core.instant import Duration, show_duration
from hil.core.verdict import Outcome, window_margin
from hil.measure.latency import percentile
from hil.measure.metering import ENDLESS
from hil.measure.proportion import lower_bound
from hil.measure.trials import Statement, Trials

Latency = tuple[int, int] | None
"""The latency of one trial, as an interval in nanoseconds; None is infinite: it never came."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AtLeast:
    """At least `share` of the trials pass."""

    share: Decimal
    confidence: Decimal

    @property
    def words(self) -> str:
        """Say it."""
        return f"at least {_percent(self.share)} pass, with {_percent(self.confidence)} confidence"


@dataclass(frozen=True, slots=True, kw_only=True)
class Percentile:
    """The `share` percentile of the latency is at most `below`."""

    share: Decimal
    confidence: Decimal
    below: Duration

    @property
    def words(self) -> str:
        """Say it."""
        return (
            f"the {_percent(self.share)} percentile of the latency at most "
            f"{show_duration(self.below)}, with {_percent(self.confidence)} confidence"
        )


Wanted = AtLeast | Percentile


class Standing:
    """How far one statement has come."""

    def __init__(self, wanted: Wanted, count: int) -> None:
        self.wanted = wanted
        statement = Statement(
            share=float(wanted.share), confidence=float(wanted.confidence), trials=count
        )
        self._strict, self._lenient = Trials(statement), Trials(statement)
        self._latencies: list[Latency] = []

    def add(self, passed: bool, latency: Latency) -> None:
        """Count one trial."""
        self._latencies.append(latency)
        if isinstance(self.wanted, AtLeast):
            self._strict.add(passed)
            self._lenient.add(passed)
            return
        self._strict.add(latency is not None and latency[1] <= self.wanted.below)
        self._lenient.add(latency is not None and latency[0] <= self.wanted.below)

    @property
    def decided(self) -> Outcome | None:
        """The verdict that no further trial can change; None while one can."""
        strict, lenient = self._strict.decided, self._lenient.decided
        if strict is Outcome.PASS or lenient is Outcome.FAIL:
            return strict if strict is Outcome.PASS else lenient
        if strict is not None and lenient is not None:
            return Outcome.INCONCLUSIVE
        return None

    def stands_with(self, failures: int) -> bool:
        """Say whether it would pass with so many failures more."""
        return self._strict.failures + failures <= self._strict.statement.most_failures

    @property
    def margin(self) -> float | None:
        """How much of what is allowed was left; None where it is not decided."""
        outcome = self.decided
        if outcome not in (Outcome.PASS, Outcome.FAIL):
            return None
        if isinstance(self.wanted, Percentile):
            found = self._percentile(upper=outcome is Outcome.PASS)
            if found is not None:
                return window_margin(Duration(found), self.wanted.below)
            return None
        return self._strict.margin

    def _percentile(self, *, upper: bool) -> int | None:
        """Return the bound that the verdict rests on."""
        side = 1 if upper else 0
        ends = [None if latency is None else latency[side] for latency in self._latencies]
        found = percentile(ends, self.wanted.share, self.wanted.confidence)
        return found.high if upper else found.low

    @property
    def got(self) -> str:
        """Say what the trials showed."""
        trials = self._strict
        if trials.seen == 0:
            return "no trial was finished"
        if isinstance(self.wanted, AtLeast):
            share = lower_bound(trials.passes, trials.seen, float(self.wanted.confidence))
            return (
                f"{trials.passes} of {trials.seen} trials passed: at least {100 * share:.4g} % do"
            )
        low, likely, high = self._figures()
        return f"{_time(likely)} ({_time(low)} to {_time(high)}) in {trials.seen} trials"

    def _figures(self) -> tuple[float, float, float]:
        share, confidence = self.wanted.share, self.wanted.confidence
        firsts = [None if latency is None else latency[0] for latency in self._latencies]
        lasts = [None if latency is None else latency[1] for latency in self._latencies]
        low = percentile(firsts, share, confidence).low
        found = percentile(lasts, share, confidence)
        ends = [ENDLESS if end is None else end for end in (low, found.estimate, found.high)]
        return ends[0], ends[1], ends[2]

    @property
    def figures(self) -> tuple[Figure, ...]:
        """The figures for the journal."""
        if not self._latencies:
            return ()
        if isinstance(self.wanted, AtLeast):
            trials, sure = self._strict, float(self.wanted.confidence)
            low = 100 * lower_bound(trials.passes, trials.seen, sure)
            return (Figure("passed", low, 100 * trials.passes / trials.seen, 100.0, "%"),)
        low, likely, high = self._figures()
        if likely == ENDLESS:
            return ()
        return (Figure("latency", low, likely, None if high == ENDLESS else high, "ns"),)


def _time(time: float) -> str:
    return "never" if time == ENDLESS else show_duration(Duration(int(time)))


def _percent(share: Decimal) -> str:
    return f"{(100 * share).normalize():f} %"
