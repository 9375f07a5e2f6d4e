"""In which alarm band a watched signal is, by the alarm specs: the reference logic, at work.

It decides as if it were the node that decides, started when watching began: delays, dead bands,
latches and faults included.  What the rack's own indicators show is another matter.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from hil.alarms.indicator import Rgb
from hil.alarms.logic import Logic
from hil.alarms.palette import rgb_of
from hil.alarms.spec import Spec
from hil.core.instant import Instant
from hil.core.signal import Sample


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What a spec says now: the band, its colour by name and RGB, and what else is to be known.

    `aside` says `latched`, `not acknowledged`, or nothing; `normal` that it is no alarm.
    """

    spec: str
    band: str
    colour: str
    rgb: Rgb | None
    normal: bool
    aside: str = ""


class Banding:
    """The logic of all specs of the signals that are watched."""

    def __init__(self, specs: Iterable[Spec], watched: Iterable[str], start: Instant) -> None:
        shown = frozenset(watched)
        self._logics = [Logic(spec, start) for spec in specs if spec.signal in shown]
        self._by_signal: dict[str, list[Logic]] = {}
        for logic in self._logics:
            for path in needs(logic.spec):
                self._by_signal.setdefault(path, []).append(logic)
        self._given: dict[str, Sample] = {}
        self._conditions = {path for logic in self._logics for path, _ in logic.spec.given}

    @property
    def signals(self) -> frozenset[str]:
        """Return every signal that the specs look at."""
        return frozenset(self._by_signal)

    def take(self, sample: Sample, now: Instant) -> None:
        """Take in a sample of any signal."""
        if sample.signal in self._conditions:
            self._given[sample.signal] = sample
        for logic in self._by_signal.get(sample.signal, ()):
            logic.receive(sample, now)
            logic.take_sends()

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        for logic in self._logics:
            logic.tick(now)
            logic.take_sends()

    def standings(self, path: str) -> Sequence[Standing]:
        """Return what every spec of a signal says; one that does not hold now says nothing."""
        logics = self._by_signal.get(path, ())
        return [
            _standing(logic)
            for logic in logics
            if logic.spec.signal == path and self._holds(logic.spec, self._given)
        ]

    @staticmethod
    def _holds(spec: Spec, known: Mapping[str, Sample]) -> bool:
        return all(path in known and known[path].value == value for path, value in spec.given)


def needs(spec: Spec) -> tuple[str, ...]:
    """Return the signals that a spec looks at, its input first."""
    latch = () if spec.latch is None else (spec.latch.signal,)
    return tuple(dict.fromkeys((spec.signal, *latch, *(path for path, _ in spec.given))))


def _standing(logic: Logic) -> Standing:
    spec, state = logic.spec, logic.state
    colour = spec.colour(state.look)
    waiting = state.look in state.unacknowledged
    aside = "latched" if state.held else "not acknowledged" if waiting else ""
    return Standing(
        spec=spec.name,
        band=state.look,
        colour=colour,
        rgb=rgb_of(spec, colour),
        normal=state.look == spec.normal,
        aside=aside,
    )
