"""One watched signal: its latest sample, how often it comes, and its course so far.

The course has one entry for each period.  Of several samples in a period it keeps the one that is
farthest from the entry before, so that a short spike is seen.

    a number   the value; of a label, its place among the labels
    None       nothing was known yet
    INVALID    the node said that it has no measurement
    STALE      the value was too old, or from a warm-up
"""

from collections import deque
from decimal import Decimal
from enum import Enum

from hil.core.instant import SECOND, Duration, Instant
from hil.core.signal import Kind, Sample, Signal, Validity, Value

LENGTH = 240
"""So many entries are kept: more than a window is wide."""

RATE_OVER = Duration(2 * SECOND)
"""Over how long updates are counted for the rate, at least one period."""


class Gap(Enum):
    """What stands in a course instead of a value."""

    INVALID = "invalid"
    STALE = "stale"


Entry = float | Gap | None


class Course:
    """A watched signal; `sample` is the latest, None before the first."""

    def __init__(self, signal: Signal, period: Duration) -> None:
        self.signal = signal
        self.sample: Sample | None = None
        self.heard: Instant | None = None
        """Since when, at the earliest, the last value that came is so."""
        self.entries: deque[Entry] = deque(maxlen=LENGTH)
        self._period = period
        self._counts: deque[int] = deque(maxlen=max(1, RATE_OVER // period))
        self._count = 0
        self._places = {label: float(place) for place, label in enumerate(signal.labels)}
        self._before = 0.0
        self._entry: Entry = None
        self._turns = 0
        self._text: Value | None = None

    @property
    def rate(self) -> float | None:
        """Return updates per second; None while nothing has been counted for long enough."""
        if not self._counts:
            return None
        return sum(self._counts) * SECOND / (len(self._counts) * self._period)

    def take(self, sample: Sample) -> None:
        """Take in a sample."""
        self.sample = sample
        if sample.raw:  # one without octets is no update but the news that none comes
            self._count += 1
            self.heard = sample.since
        entry = self._entry_of(sample)
        if not isinstance(entry, float) or not isinstance(self._entry, float):
            self._entry = entry if not isinstance(self._entry, Gap) else self._entry
        elif abs(entry - self._before) > abs(self._entry - self._before):
            self._entry = entry

    def beat(self) -> None:
        """A period is over."""
        last = None if self.sample is None else self._entry_of(self.sample)
        entry = self._entry if self._entry is not None else last
        if isinstance(entry, float):
            self._before = entry
        self.entries.append(entry)
        self._counts.append(self._count)
        self._count, self._entry = 0, None

    def _entry_of(self, sample: Sample) -> Entry:
        if sample.validity is Validity.INVALID:
            return Gap.INVALID
        if sample.validity is Validity.STALE:
            return Gap.STALE
        if isinstance(sample.value, Decimal):
            return float(sample.value)
        if self.signal.kind is Kind.LABEL:
            return self._places.get(str(sample.value), 0.0)
        if sample.value != self._text:  # of a text one can only see when it changes
            self._text = sample.value
            self._turns += 1
        return float(self._turns % 2)
