"""The figures of one response to a commanded profile, with their intervals.

lag           hil.measure.following: cross-correlation; its span
gain, phase   of a sine hil.measure.sine: ± 2u; else the slope of a line, hil.measure.gain: ± 2u
worst-error   hil.measure.tracking_error: greatest |response − command|
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from hil.core.expectation import Figure
from hil.core.instant import Duration
from hil.core.signal import Signal
from hil.measure.following import follow
from hil.measure.metering import show_between, show_figures
from hil.measure.profile import Sine
from hil.measure.sine import fit_sine
from hil.measure.span import Unmeasured
from hil.measure.staircase import Staircase
from hil.measure.tracking_error import worst_error

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

    @property
    def staircase(self) -> Staircase:
        """The values in force, by the time since the start."""
        import numpy as np

        times = [(at or 0) - self.start for at, _ in self.points]
        values = [float(value) for _, value in self.points]
        return Staircase(times=np.array(times, dtype=np.int64), values=np.array(values))


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
        drive=commanded.staircase,
        start=commanded.start,
        longest_lag=longest,
    )
    figures: dict[str, Between | str] = {"phase": "the profile is no sine"}
    if isinstance(found, Unmeasured):
        figures |= dict.fromkeys(("lag", "gain"), found.why)
    else:
        lag = found.lag
        first = max(0, lag.first - record.look)
        figures["lag"] = Between(first, max(0, lag.likely), lag.last, "ns")
        gain, spread = found.gain, found.gain_half_width
        figures["gain"] = Between(gain - spread, gain, gain + spread, "")
    figures["worst-error"] = _worst(record, commanded, signal)
    if commanded.sine is not None:
        figures |= _wave(record, filled, commanded, commanded.sine)
    return figures


def in_any_case(found: Sequence[Mapping[str, Between | str]]) -> Mapping[str, Between | str]:
    """Return what holds whichever of several findings is the true one."""
    first, *others = found
    figures: dict[str, Between | str] = {}
    for name, figure in first.items():
        both = [figure, *(other[name] for other in others)]
        spans = [one for one in both if isinstance(one, Between)]
        reasons = [one for one in both if isinstance(one, str)]
        figures[name] = (
            reasons[0]
            if reasons
            else replace(spans[0], low=min(s.low for s in spans), last=max(s.last for s in spans))
        )
    return figures


def _worst(record: Record, commanded: Commanded, signal: Signal) -> Between | str:
    if not record.times:
        return "no sample of the response"
    worst = worst_error(
        record.times,
        record.values,
        commands=[(at, value) for at, value in commanded.points if at is not None],
        end=commanded.end,
        held=signal.sampling is None,
        look=record.look,
        noise=signal.noise,
    )
    return Between(worst.low, worst.likely, worst.high, signal.unit)


def _wave(
    record: Record, filled: Record, commanded: Commanded, sine: Sine
) -> dict[str, Between | str]:
    """Return gain and phase of the sine in the response against that in the commands.

    Both as staircases, each held until its next step; how sure they are is told by the record's own
    samples, for filling it in has added none.
    """
    import numpy as np

    frequency, start = float(sine.frequency), commanded.start
    own = fit_sine(record.times, record.values, frequency=frequency, start=start)
    response = fit_sine(filled.times, filled.values, frequency=frequency, start=start)
    times = np.arange(start, commanded.end, commanded.fine)
    if record.times:
        times = times[times >= record.times[0]]
    values = commanded.staircase.at(times - start)
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
