"""`within`: the value must be reached in time, and with `hold` then be kept.

    within D             there is t in [0, D] with good(t)
    within D, hold H     there is t in [0, D] with good on all of [t, t + H]
    not-before N         and good(t) for no t in [0, N)

The state is the current good stretch: the interval in which it began.  For a node that reports
every change both ends are the arrival; for a sampled signal they are the last look that was not
good and the first that was.
"""

from hil.core.condition import Grade
from hil.core.expectation import Watch
from hil.core.instant import Duration, Instant
from hil.core.plan import Expectation
from hil.core.signal import Sample, Signal, Validity
from hil.core.verdict import Outcome, window_margin


class Reach(Watch):
    """The machine for `within`.

    With `trust_before` the value in force counts as if it had arrived at the start: a
    precondition asks how things are, not how they became so.
    """

    def __init__(
        self,
        expectation: Expectation,
        signal: Signal,
        start: Instant,
        before: Sample | None = None,
        trust_before: bool = False,
    ) -> None:
        timing = expectation.timing
        assert timing.within is not None
        self._deadline = start + timing.within
        self._hold = timing.hold or 0
        self._not_before = start + (timing.not_before or 0)
        self._grace = 2 * (signal.sampling or 0)
        self._stretch: tuple[int, int] | None = None  # when the good stretch began: interval
        self._looked = False  # whether any look began by the deadline
        self._warming = False  # whether the node gave values that do not count yet
        self._not_good_at: int = start  # the latest moment known not to be good
        super().__init__(expectation, signal, start, before)
        if trust_before and before is not None and before.validity is not Validity.STALE:
            in_force = Sample(
                before.signal, before.value, before.validity, start, start, before.note
            )
            self.receive(in_force, start)

    @property
    def _due(self) -> int:
        if self._stretch is not None:
            return self._stretch[1] + self._hold + 1
        return self._deadline + self._grace + 1

    def tick(self, now: Instant) -> None:
        """Decide a hold that has lasted, or a deadline that has passed."""
        if self.finding is not None or now < self._due:
            return
        if self._stretch is not None:
            self._reached(self._last)
        elif self._warming and self.seen == 0:
            self._decide(Outcome.INCONCLUSIVE, "warming", self._last, None)
        elif self.seen == 0:
            self._miss("silent", None)
        else:
            self._miss("missed", self._last)

    def _take(self, grade: Grade, sample: Sample) -> None:
        if grade is Grade.GOOD:
            self._take_good(sample)
        else:
            self._take_other(grade, sample)

    def _take_good(self, sample: Sample) -> None:
        self._note_extreme(sample)
        if self._stretch is None:
            began = self._not_good_at if self._sampled else sample.at
            self._stretch = (began, sample.at)
            self._cross(sample.at, True)
            if sample.at < self._not_before:
                self._decide(Outcome.FAIL, "early", sample, self._stretch)
            elif began < self._not_before:
                self._decide(Outcome.INCONCLUSIVE, "gap", sample, self._stretch)
            elif began > self._deadline:
                self._decide(Outcome.FAIL, "late", sample, self._stretch)
        if self.finding is None and not self._hold:
            self._reached(sample)

    def _reached(self, sample: Sample | None) -> None:
        assert self._stretch is not None
        if self._stretch[1] <= self._deadline:
            self._decide(Outcome.PASS, "reached", sample, self._stretch)
        else:
            self._decide(Outcome.INCONCLUSIVE, "gap", sample, self._stretch)

    def _take_other(self, grade: Grade, sample: Sample) -> None:
        left = self._stretch is not None
        if left:
            self._stretch = None
            self._extremes.clear()
            self._cross(sample.at, False)
            if grade is Grade.UNKNOWN:
                self._unsure = "stale"
        if grade is Grade.UNKNOWN and sample.value is not None:
            self._warming = True
        self._not_good_at = sample.since if self._sampled else sample.at
        if self._not_good_at <= self._deadline:
            self._looked = True
        elif self._looked or left:
            self._miss("left" if left else "missed", sample)
        else:
            self._decide(Outcome.INCONCLUSIVE, "unlooked", sample, (self.start, sample.at))

    def _miss(self, why: str, sample: Sample | None) -> None:
        if self._unsure:
            self._decide(Outcome.INCONCLUSIVE, self._unsure, sample, None)
        else:
            self._decide(Outcome.FAIL, why, sample, None)

    def _note_extreme(self, sample: Sample) -> None:
        """Without a hold the first good value decides, and a moving one is just inside then."""
        if self._hold:
            super()._note_extreme(sample)

    def _time_margin(self, outcome: Outcome, elapsed: Duration | None) -> float | None:
        if elapsed is None:
            return None
        earliest, window = self._not_before - self.start, Duration(self._deadline - self.start)
        if elapsed < earliest:
            return (elapsed - earliest) / earliest
        if outcome is Outcome.FAIL and elapsed <= window:
            return None
        return window_margin(elapsed, window)
