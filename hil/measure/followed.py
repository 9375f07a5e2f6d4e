"""The figures of one response to a commanded profile, with their intervals.

lag           hil.measure.following: cross-correlation; its span
gain, phase   of a sine hil.measure.sine: ± 2u; else the gain of the aligned least-squares line
worst-error   greatest |response − command|, within the noise of the signal
"""

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from hil.core.expectation import Figure
from hil.core.instant import Duration
from hil.core.signal import Signal
from hil.measure.following import follow
from hil.measure.metering import show_between, show_figures
from hil.measure.profile import Sine
from hil.measure.sine import fit_sine
from hil.measure.span import Unmeasured

_PER_COMMAND = 8
_MOST = 10_000


@dataclass(slots=True)
class Record:
    """The samples of one response; `look` is the longest that one took."""

    times: list[int] = field(default_factory=list)
    values: list[Decimal] = field(default_factory=list)
    look: int = 0

    def take(self, since: int, at: int, value: Decimal) -> None:
        """Add a sample."""
        self.times.append(at)
        self.values.append(value)
        self.look = max(self.look, at - since)

    def held(self, end: int, step: int) -> "Record":
        """Return the record of a signal that reports every change, looked at every `step` as well.

        Between two reports it has not changed.  Without this, where it rests would hardly count.
        """
        found = Record(look=self.look)
        for number, (at, value) in enumerate(zip(self.times, self.values, strict=True)):
            following = self.times[number + 1] if number + 1 < len(self.times) else end + 1
            moments = [at, *range(at + step, following, step)]
            found.times += moments
            found.values += [value] * len(moments)
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Commanded:
    """The commands as they left: (instant, value), from `start` to `end`, about every `every`."""

    start: int
    end: int
    points: tuple[tuple[int | None, Decimal], ...]
    every: Duration
    sine: Sine | None

    @property
    def fine(self) -> int:
        """How far apart staircases are looked at; the same for both, so that nothing is shifted."""
        return max(1, self.every // _PER_COMMAND, (self.end - self.start) // _MOST)

    def at(self, time: int) -> Decimal:
        """Return the value in force `time` nanoseconds after the start."""
        moment = self.start + time
        place = bisect_right(self.points, moment, key=lambda point: point[0] or 0)
        return self.points[max(0, place - 1)][1]


@dataclass(frozen=True, slots=True)
class Between:
    """A figure between `low` and `last`, in words, and as the journal has it."""

    low: float
    likely: float
    last: float
    unit: str

    @property
    def words(self) -> str:
        """Say it."""
        if self.unit == "ns":
            return show_between(self.low, self.last)
        return show_figures(self.low, self.last, self.unit)

    def named(self, name: str) -> Figure:
        """Return it for the journal."""
        return Figure(name, self.low, self.likely, self.last, self.unit)


def measure_all(
    record: Record, commanded: Commanded, signal: Signal
) -> Mapping[str, Between | str]:
    """Return the figures of a response by their keys; a text says why one cannot be had."""
    longest = (commanded.end - commanded.start) // 4
    filled = record
    if signal.sampling is None:
        filled = record.held(commanded.end, commanded.fine)
    found = follow(
        filled.times,
        filled.values,
        drive=commanded.at,
        start=commanded.start,
        longest_lag=longest,
    )
    figures: dict[str, Between | str] = {"phase": "the profile is no sine"}
    if isinstance(found, Unmeasured):
        figures |= dict.fromkeys(("lag", "gain", "worst-error"), found.why)
    else:
        lag, noise = found.lag, float(signal.noise)
        first = max(0, lag.first - record.look)
        figures["lag"] = Between(first, max(0, lag.likely), lag.last, "ns")
        figures["gain"] = Between(found.gain, found.gain, found.gain, "")
        worst = found.worst
        figures["worst-error"] = Between(max(0.0, worst - noise), worst, worst + noise, signal.unit)
    if commanded.sine is not None:
        figures |= _wave(record, filled, commanded, commanded.sine)
    return figures


def _wave(
    record: Record, filled: Record, commanded: Commanded, sine: Sine
) -> dict[str, Between | str]:
    """Return gain and phase of the sine in the response against that in the commands.

    Both as staircases, each held until its next step; how sure they are is told by the record's own
    samples, for filling it in has added none.
    """
    frequency, start = float(sine.frequency), commanded.start
    own = fit_sine(record.times, record.values, frequency=frequency, start=start)
    response = fit_sine(filled.times, filled.values, frequency=frequency, start=start)
    fine = range(start, commanded.end, commanded.fine)
    times = [at for at in fine if not record.times or at >= record.times[0]]
    values = [commanded.at(at - start) for at in times]
    driven = fit_sine(times, values, frequency=frequency, start=start)
    if isinstance(own, Unmeasured) or isinstance(response, Unmeasured):
        why = own.why if isinstance(own, Unmeasured) else "the response did not move"
        return dict.fromkeys(("gain", "phase"), why)
    if isinstance(driven, Unmeasured):
        return dict.fromkeys(("gain", "phase"), driven.why)
    gain = response.amplitude / driven.amplitude
    spread = 2 * own.amplitude_uncertainty / driven.amplitude
    phase = (response.phase - driven.phase + 180) % 360 - 180
    turn = 2 * own.phase_uncertainty
    late = 360 * frequency * record.look / 1e9  # a look shows a moment up to so much earlier
    return {
        "gain": Between(gain - spread, gain, gain + spread, ""),
        "phase": Between(phase - turn, phase, phase + turn + late, "deg"),
    }
