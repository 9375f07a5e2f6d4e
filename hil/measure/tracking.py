"""`follow`: drive a profile, and measure how the responses follow it.

    commands   ▁▁▂▂▃▃▄▄   one every so often, each on a count of the wire
    response    ·▁▁▂▂▃▃▄▄

What is followed is what was commanded: the staircase of the commands as they were sent, not the
ideal profile between them.  Of a sine, gain and phase are those of the sine in the response against
the sine in the staircase, so that the steps of the commands count for nothing.  Formulas and sources
stand in hil.measure.following and hil.measure.sine.

Of a command without an answer nobody knows whether it was carried out.  A few of those are counted
both ways, and a figure then is all that it can be; more leave the job open.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from itertools import product

from hil.core.driving import Progress, Trip
from hil.core.error import Mark
from hil.core.instant import Duration, Instant, show_duration
from hil.core.observation import Observation, Purpose, Samples
from hil.core.scene import Scene
from hil.core.signal import Sample, Validity
from hil.core.verdict import Outcome
from hil.measure.bound import Bound
from hil.measure.followed import Commanded, Record, in_any_case, measure_all
from hil.measure.metering import doubt
from hil.measure.profile import Sine
from hil.measure.verdicts import Verdicts

_FEW = 2


class Measured(Enum):
    """What is measured of a response, by its key."""

    LAG = "lag"
    GAIN = "gain"
    WORST = "worst-error"
    PHASE = "phase"


@dataclass(frozen=True, slots=True, kw_only=True)
class Follower:
    """One response, and what its figures must be."""

    signal: str
    bounds: tuple[tuple[Measured, Bound], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tracking:
    """Drive `signal` through `values`, one every `every`; judge what comes `after` so long.

    `sine` is the profile where it is one, for the phase.
    """

    signal: str
    values: tuple[Decimal, ...]
    every: Duration
    after: Duration
    followers: tuple[Follower, ...]
    sine: Sine | None
    mark: Mark

    @property
    def drives(self) -> tuple[str, ...]:
        """The one signal it drives."""
        return (self.signal,)

    @property
    def watches(self) -> tuple[str, ...]:
        """The responses."""
        return tuple(follower.signal for follower in self.followers)

    def begin(
        self, scene: Scene, where: str, index: int, step: int, start: Instant
    ) -> "TrackingStage":
        """Begin to drive."""
        return TrackingStage(self, scene, where, index, step, start)


class TrackingStage:
    """The machine that drives and records."""

    def __init__(
        self, job: Tracking, scene: Scene, where: str, index: int, step: int, start: Instant
    ) -> None:
        begin = max(start, scene.driving.ready_at(job.signal, job.values[0]))
        self._job, self._scene, self._start = job, scene, begin
        self._verdicts = Verdicts(scene, where, index, step, job.mark)
        self._trips: list[Trip] = []
        self._records = {path: Record() for path in job.watches}
        self._end = Instant(begin + job.every * len(job.values))
        self._over = False
        self._faults: dict[str, str] = {}
        self.tick(start)

    @property
    def done(self) -> bool:
        return self._over

    @property
    def outcomes(self) -> Sequence[Outcome]:
        return self._verdicts.outcomes

    @property
    def reasons(self) -> Sequence[str]:
        return self._verdicts.reasons

    def receive(self, seen: Observation, now: Instant) -> None:
        """Record the responses; notice a command that went wrong."""
        if isinstance(seen, Samples) and not self._over:
            for sample in seen.samples:
                record = self._records.get(sample.signal)
                if record is not None and self._counts(sample):
                    self._record(record, sample)
        self._advance(now)

    def tick(self, now: Instant) -> None:
        """Send the command that is due; conclude at the end."""
        while not self._over and len(self._trips) < len(self._job.values):
            if now < self._due:
                break
            value = self._job.values[len(self._trips)]
            self._trips.append(self._scene.driving.send(self._job.signal, value, Purpose.STIMULUS))
        self._advance(now)

    def next_wakeup(self) -> Instant | None:
        """Return when the next command is due, or the end."""
        if self._over:
            return None
        if len(self._trips) < len(self._job.values):
            return self._due
        return Instant(self._end + 1) if self._answered else None

    def break_off(self, reason: str, now: Instant) -> None:
        """End now, without a measure."""
        if not self._over:
            self._give_up(Outcome.INCONCLUSIVE, f"the profile ended early: {reason}", now)

    @property
    def _due(self) -> Instant:
        return Instant(self._start + self._job.every * len(self._trips))

    @property
    def _answered(self) -> bool:
        return all(trip.over for trip in self._trips)

    def _counts(self, sample: Sample) -> bool:
        return self._start + self._job.after <= sample.since and sample.at <= self._end

    def _record(self, record: Record, sample: Sample) -> None:
        if sample.validity is Validity.VALID and isinstance(sample.value, Decimal):
            record.take(sample.since, sample.at, sample.value)
            return
        when = show_duration(Duration(sample.at - self._start))
        word = "went stale" if sample.validity is Validity.STALE else "had no reading"
        self._faults.setdefault(sample.signal, f"{word} {when} after the start")

    def _advance(self, now: Instant) -> None:
        if self._over:
            return
        for trip in self._trips:
            if trip.progress is Progress.REFUSED:
                self._give_up(Outcome.FAIL, f"a command was refused: {trip.detail}", now)
                return
        lost = self._lost
        if len(lost) > _FEW or any(trip.broken for trip in lost):
            what = f"{_commands(len(lost))} not confirmed: {lost[0].detail}"
            self._give_up(Outcome.INCONCLUSIVE, what, now)
            return
        if now > self._end and len(self._trips) == len(self._job.values) and self._answered:
            self._conclude(now)

    def _give_up(self, outcome: Outcome, why: str, now: Instant) -> None:
        self._over = True
        for follower in self._job.followers:
            for what, bound in follower.bounds:
                self._state(follower.signal, outcome, now, what, bound, why)

    def _conclude(self, now: Instant) -> None:
        self._over = True
        ways = self._ways()
        note = f"{_commands(len(self._lost))} not confirmed, counted both ways" if ways[1:] else ""
        for follower in self._job.followers:
            fault = self._faults.get(follower.signal)
            signal, record = self._scene.signals[follower.signal], self._records[follower.signal]
            found = {} if fault else in_any_case([measure_all(record, w, signal) for w in ways])
            for what, bound in follower.bounds:
                figure = found.get(what.value)
                if fault is not None:
                    stale = "stale" in fault
                    outcome = Outcome.INCONCLUSIVE if stale else Outcome.FAIL
                    self._state(follower.signal, outcome, now, what, bound, fault)
                elif isinstance(figure, str) or figure is None:
                    why = f"cannot be measured: {figure}"
                    self._state(follower.signal, Outcome.INCONCLUSIVE, now, what, bound, why)
                else:
                    outcome = bound.judge(figure.low, figure.last)
                    margin = bound.margin(figure.low, figure.last)
                    self._verdicts.state(
                        follower.signal,
                        outcome,
                        now,
                        wanted=f"{what.value} {bound.words}",
                        when=self._when,
                        got=f"{what.value} {figure.words}",
                        note="; ".join(filter(None, (doubt(outcome).removeprefix(": "), note))),
                        margin=margin,
                        figures=(figure.named(what.value),),
                        seen=len(record.times),
                    )

    @property
    def _lost(self) -> list[Trip]:
        return [trip for trip in self._trips if trip.progress is Progress.LOST]

    def _ways(self) -> list[Commanded]:
        """Return what can have been commanded: with and without each command that was lost."""
        pairs = list(zip(self._trips, self._job.values, strict=True))
        lost = [trip for trip in self._lost if trip.sent is not None]
        found = []
        for kept in product((True, False), repeat=len(lost)):
            gone = [trip for trip, stays in zip(lost, kept, strict=True) if not stays]
            points = tuple((t.sent, v) for t, v in pairs if t.sent is not None and t not in gone)
            found.append(
                Commanded(
                    start=self._start,
                    end=self._end,
                    points=points,
                    every=self._job.every,
                    sine=self._job.sine,
                )
            )
        return found

    @property
    def _when(self) -> str:
        return f"following {self._job.signal}"

    def _state(
        self, path: str, outcome: Outcome, now: Instant, what: Measured, bound: Bound, got: str
    ) -> None:
        wanted = f"{what.value} {bound.words}"
        self._verdicts.state(path, outcome, now, wanted=wanted, when=self._when, got=got)


def _commands(count: int) -> str:
    return "a command was" if count == 1 else f"{count} commands were"
