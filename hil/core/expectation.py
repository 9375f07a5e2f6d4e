"""Expectations in time: was it so when it had to be?

One machine watches one signal for one expectation.  Times count from the stimulus, t = 0; good(t)
says that the value in force at t satisfies the condition; a value holds until the next sample.

    within D             there is t in [0, D] with good(t)                             hil.core.reach
    within D, hold H     there is t in [0, D] with good on all of [t, t + H]
    not-before N         and good(t) for no t in [0, N)
    during A to B        good on all of [A, B]                                    hil.core.throughout
    never D              good(t) for no t in [0, D]

Which samples count.  `within` needs a sample that arrived after the stimulus: an answer that was
there before proves nothing.  `during` and `never` begin with the value in force, where the node
reports every change.

A sampled signal (polled, or reported now and then) is known only at its looks: a change lies in
an interval, from the last look that did not show it to the first that did.  Where a limit falls
inside that interval the verdict is inconclusive.  One look takes from `since` to `at`.

Silence.  A node that says nothing new by the deadline fails `within`; a value that went stale
cannot prove `hold`, `during` or `never`, which is inconclusive.
"""

from dataclasses import dataclass
from typing import NamedTuple

from hil.core.condition import Grade, grader, resolve, value_margin
from hil.core.instant import Duration, Instant
from hil.core.plan import Condition, Expectation, Limits
from hil.core.signal import Sample, Signal, Validity, Value
from hil.core.verdict import Outcome

_REMEMBERED = 8  # entries and exits kept for the message


class Figure(NamedTuple):
    """A measured figure: between `low` and `high`, `likely` the best guess; times in `ns`.

    `high` is None where it has no end, as the time of something that was not seen to happen.
    """

    name: str
    low: float
    likely: float
    high: float | None
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """How one expectation on one signal ended.

    `why` is a word for the message (hil.core.wording): reached, late, early, left, seen, missed,
    silent, warming, unseen, unlooked, gap, stale, no baseline.  `decided` is the sample that decided, or the last
    one where silence did.  `change` is the interval of the deciding change and `elapsed` its end,
    both from the stimulus.  `gap` is the longest time without a look.  `crossings` are the first
    few entries (True) and exits (False) with their times from the stimulus.  A measure says in its
    own words what it `got`, and in `said` all that follows the signal's name; `figures` are its
    results.
    """

    outcome: Outcome
    why: str
    decided: Sample | None
    elapsed: Duration | None
    change: tuple[Duration, Duration] | None
    margin: float | None
    gap: Duration | None
    seen: int
    crossings: tuple[tuple[Duration, bool], ...]
    got: str = ""
    said: str = ""
    figures: tuple[Figure, ...] = ()


def undecided(seen: int) -> Finding:
    """Return the finding of what its step ended before it was decided."""
    return Finding(
        outcome=Outcome.INCONCLUSIVE,
        why="unseen",
        decided=None,
        elapsed=None,
        change=None,
        margin=None,
        gap=None,
        seen=seen,
        crossings=(),
    )


class Watch:
    """What both kinds of expectation machine share: grading, counting, and the finding.

    `before` is the last sample from before the stimulus: the baseline of `unchanged`, and the
    value in force.  `finding` is None until the expectation is decided.
    """

    def __init__(
        self, expectation: Expectation, signal: Signal, start: Instant, before: Sample | None
    ) -> None:
        self.expectation = expectation
        self.signal = signal
        self.start = start
        self.before = before
        self.finding: Finding | None = None
        self.seen = 0
        self._sampled = signal.sampling is not None
        self._look: int = start
        self._gap = 0
        self._last: Sample | None = None
        self._unsure = ""
        self._extremes: list[Value] = []
        self._crossings: list[tuple[Duration, bool]] = []
        known = before is not None and before.validity is Validity.VALID
        try:
            baseline = before.value if known and before is not None else None
            self._condition: Condition = resolve(expectation.condition, baseline)
            self._grade = grader(self._condition)
        except ValueError:
            self._condition = Limits(low=None, high=None)
            self._grade = grader(self._condition)
            self._decide(Outcome.INCONCLUSIVE, "no baseline", None, None)

    @property
    def condition(self) -> Condition:
        """Return the condition, around its baseline where it has one and that was seen."""
        told = self.finding is None or self.finding.why != "no baseline"
        return self._condition if told else self.expectation.condition

    def receive(self, sample: Sample, now: Instant) -> None:
        """Take in a sample of the watched signal; looks begun before the stimulus do not count."""
        if self.finding is not None or sample.since < self.start:
            return
        if now >= self._due:
            self.tick(now)  # what was due lies at least 1 ns before this arrival
            if self.finding is not None:
                return
        if sample.validity is not Validity.STALE:
            self.seen += 1
            if now - self._look > self._gap:
                self._gap = now - self._look
            self._look = now
        self._take(self._grade(sample), sample)
        self._last = sample

    def tick(self, now: Instant) -> None:
        """Decide what silence up to and including `now` decides."""
        raise NotImplementedError

    def next_wakeup(self) -> Instant | None:
        """Return when silence would decide something."""
        return None if self.finding is not None else Instant(self._due)

    def take_sends(self) -> tuple[()]:
        """Return nothing: an expectation only listens."""
        return ()

    @property
    def _due(self) -> int:
        """One nanosecond after the last instant at which silence still means nothing."""
        raise NotImplementedError

    def _take(self, grade: Grade, sample: Sample) -> None:
        raise NotImplementedError

    def _time_margin(self, outcome: Outcome, elapsed: Duration | None) -> float | None:
        """Return the margin in time, where time was limited."""
        return None

    def _note_extreme(self, sample: Sample) -> None:
        value = sample.value
        if value is None or isinstance(value, str) or not isinstance(self._condition, Limits):
            return
        if not self._extremes:
            self._extremes = [value, value]
        elif value < self._extremes[0]:  # type: ignore[operator]
            self._extremes[0] = value
        elif value > self._extremes[1]:  # type: ignore[operator]
            self._extremes[1] = value

    def _cross(self, at: int, entered: bool) -> None:
        if len(self._crossings) < _REMEMBERED:
            self._crossings.append((Duration(at - self.start), entered))

    def _decide(
        self, outcome: Outcome, why: str, sample: Sample | None, change: tuple[int, int] | None
    ) -> None:
        counted = None
        if change is not None:
            counted = (Duration(change[0] - self.start), Duration(change[1] - self.start))
        elapsed = None if counted is None else counted[1]
        self.finding = Finding(
            outcome=outcome,
            why=why,
            decided=sample if sample is not None else self._last,
            elapsed=elapsed,
            change=counted,
            margin=self._margin(outcome, elapsed, sample),
            gap=Duration(self._gap) if self.seen else None,
            seen=self.seen,
            crossings=tuple(self._crossings),
        )

    def _margin(
        self, outcome: Outcome, elapsed: Duration | None, sample: Sample | None
    ) -> float | None:
        if outcome is Outcome.INCONCLUSIVE:
            return None
        values: list[Value] = list(self._extremes)
        if outcome is Outcome.FAIL:
            values = [] if sample is None or sample.value is None else [sample.value]
        found = [value_margin(self._condition, value, self.signal) for value in values]
        found.append(self._time_margin(outcome, elapsed))
        margins = [margin for margin in found if margin is not None]
        return min(margins) if margins else None
