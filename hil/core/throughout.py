"""`during` and `never`: the value must be so, or not so, throughout a window.

    during A to B        good on all of [A, B]
    never D              good(t) for no t in [0, D]: bad on all of [0, D]

Where the node reports every change, the value in force when the window opens counts.  A sampled
signal is known only at its looks: a look that reaches across either end of the window, or a change somewhere
across its opening, leaves a doubt, and the verdict is inconclusive.
"""

from hil.core.condition import Grade
from hil.core.expectation import Watch
from hil.core.instant import Duration, Instant
from hil.core.plan import Expectation
from hil.core.signal import Sample, Signal, Validity
from hil.core.verdict import Outcome

_OPPOSITE = {Grade.GOOD: Grade.BAD, Grade.BAD: Grade.GOOD}


class Throughout(Watch):
    """The machine for `during` and `never`."""

    def __init__(
        self, expectation: Expectation, signal: Signal, start: Instant, before: Sample | None = None
    ) -> None:
        timing = expectation.timing
        self._never = timing.never is not None
        opens, closes = timing.during or (0, timing.never or 0)
        self._opens = start + opens
        self._closes = start + closes
        self._grace = 2 * (signal.sampling or 0)  # a look may begin inside and end outside
        self._opened = False
        self._in_force: Grade | None = None
        self._seen_inside = False
        super().__init__(expectation, signal, start, before)
        if self._sampled or before is None or before.validity is Validity.STALE:
            return
        self._in_force, self._last = self._wanted(self._grade(before)), before

    def _note_extreme(self, sample: Sample) -> None:
        """For `never` the values lie outside the condition: they have no margin inside it."""
        if not self._never:
            super()._note_extreme(sample)

    def _margin(
        self, outcome: Outcome, elapsed: Duration | None, sample: Sample | None
    ) -> float | None:
        """A value that must never be seen lies the deeper in what is forbidden, the worse."""
        margin = super()._margin(outcome, elapsed, sample)
        return -margin if self._never and margin else margin

    @property
    def _due(self) -> int:
        return (self._closes + self._grace if self._opened else self._opens) + 1

    def tick(self, now: Instant) -> None:
        """Open the window, close the window."""
        if self.finding is None and not self._opened and now > self._opens:
            self._open()
        if self.finding is None and now > self._closes + self._grace:
            self._close()

    def _wanted(self, grade: Grade) -> Grade:
        return _OPPOSITE.get(grade, grade) if self._never else grade

    def _open(self) -> None:
        self._opened = True
        if self._sampled:
            if self._in_force is not None and self._in_force is not Grade.GOOD:
                self._unsure = "gap"
        elif self._in_force in (Grade.BAD, Grade.FAULT):
            self._violate(self._last, self._opens, self._opens)
        elif self._in_force is Grade.GOOD and self._last is not None:
            self._note_extreme(self._last)

    def _take(self, grade: Grade, sample: Sample) -> None:
        wanted = self._wanted(grade)
        if sample.at > self._closes:
            self._take_last(wanted, sample)
            return
        if sample.at >= self._opens:
            self._opened, opened = True, self._opened
            self._take_inside(wanted, sample, opened)
        self._in_force = wanted

    def _take_last(self, grade: Grade, sample: Sample) -> None:
        """The first look that ends after the window: one begun inside may have seen the end."""
        if not self._opened:
            self._open()
        if sample.since <= self._closes and grade in (Grade.BAD, Grade.FAULT):
            self._unsure = "gap"
        if self.finding is None:
            self._close()

    def _take_inside(self, grade: Grade, sample: Sample, opened: bool) -> None:
        if self._sampled and not opened and self._in_force not in (None, Grade.GOOD):
            self._unsure = "gap"
        if grade is Grade.GOOD:
            self._note_extreme(sample)
            self._seen_inside = True
        elif grade is Grade.UNKNOWN:
            self._unsure = "stale"
        elif self._sampled and sample.since < self._opens:
            self._unsure = "gap"
        else:
            self._note_extreme(sample)
            self._violate(sample, sample.since if self._sampled else sample.at, sample.at)

    def _violate(self, sample: Sample | None, began: int, seen_by: int) -> None:
        self._decide(Outcome.FAIL, "seen" if self._never else "left", sample, (began, seen_by))

    def _close(self) -> None:
        if self._unsure:
            self._decide(Outcome.INCONCLUSIVE, self._unsure, self._last, None)
        elif self._in_force is not Grade.GOOD or (self._sampled and not self._seen_inside):
            self._decide(Outcome.INCONCLUSIVE, "unseen", self._last, None)
        else:
            self._gap = max(self._gap, self._closes - self._look)
            self._decide(Outcome.PASS, "reached", None, None)
