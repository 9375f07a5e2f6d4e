"""Where an alarm really trips, and where it clears: searched, repeated, judged with its doubt.

Each search is one of hil.alarms.search.  Every probe begins from a state that was brought about
deliberately (hil.alarms.proof.probe).  The interval is that of all repeats together; the mean is
judged against the spec by the rule that the spec states (hil.alarms.decision).
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from hil.alarms.decision import COVERAGE, Estimate, estimate, judge_trip
from hil.alarms.edge import Edge
from hil.alarms.proof.dialogue import Steps, Stop
from hil.alarms.proof.probe import clears, trips
from hil.alarms.proof.proof import Place, Proof
from hil.alarms.proof.trial import Trial
from hil.alarms.search import Bracket, Side
from hil.alarms.spec import Spec
from hil.alarms.target import reset_target, trip_target
from hil.core.event import AlarmPoint, Event
from hil.core.instant import Instant
from hil.core.scene import Scene
from hil.core.signal import show_number
from hil.core.verdict import Outcome, worst

TRIP, RESET = "trip", "reset"


@dataclass(frozen=True, slots=True)
class Judged:
    """The verdict on the repeats together; numbers count from the grid's origin."""

    outcome: Outcome
    text: str
    measured: Estimate | None = None
    difference: float | None = None


class PointProof(Proof):
    """The trip or the reset point of one edge."""

    def __init__(
        self, spec: Spec, scene: Scene, place: Place, edge: Edge, point: str, repeats: int
    ) -> None:
        super().__init__(spec, scene, place, edge.alarm)
        self.word = f"{point} point"
        self.edge, self.point, self.repeats = edge, point, repeats
        target = trip_target if point == TRIP else reset_target
        self.target = target(spec, edge, self.stations.grid)
        self.rising = edge.rising is (point == TRIP)
        self.searches: list[Trial] = []
        self.judged: Judged | None = None

    def prove(self) -> Steps[None]:
        expected = self.target.first_beyond
        if expected is None:
            yield Stop(f"no value of the range is past the {self.word}")
            return
        counts = self.stations.side(self.edge)
        probe = trips if self.point == TRIP else clears
        for _ in range(self.repeats):
            search = Trial(counts, self.rising, expected, self._noise)
            self.searches.append(search)
            while (count := search.next_probe()) is not None:
                beyond = yield from probe(self.moves, self.edge, count)
                if beyond is None:
                    yield Stop(
                        f"at {self.stations.show(count)} the indicators show {self.moves.seen()}, "
                        f"which is neither {self.alarm} nor {self.edge.inner}",
                        Outcome.FAIL,
                    )
                    return
                search.answer(count, Side.BEYOND if beyond else Side.BEFORE)
            if None in (search.bracket.last_before, search.bracket.first_beyond):
                return  # there is no point to be found; once more would not find one either

    # --- judging -------------------------------------------------------------------------------

    def summarise(self, whole: bool) -> None:
        done = [search for search in self.searches if search.done]
        if not done:
            self._tell_partial()
            return
        self.judged = self._judge(done)
        self.note(self.judged.outcome, self.judged.text)
        self.measured += [
            ("searches", str(len(done))),
            ("probes", str(max(search.probes for search in done))),
        ]

    def _tell_partial(self) -> None:
        if self.searches and self.searches[-1].probes:
            bracket = self.searches[-1].bracket
            text = f"{self._verb()} {self._between(bracket)}, as far as it was searched"
            self.judged = Judged(Outcome.NOT_RUN, text)
            self.note(Outcome.NOT_RUN, text)

    def _judge(self, done: list[Trial]) -> Judged:
        brackets = [search.bracket for search in done]
        for bracket in brackets:
            if bracket.first_beyond is None or bracket.last_before is None:
                return self._judge_open(bracket)
        step = float(self.stations.grid.step)
        measured = estimate(brackets, step)
        rule, guard = self.spec.tolerance.rule, self.spec.tolerance.guard
        decision = judge_trip(
            measured, self.target, self.spec.tolerance.level, self.stations.grid.step, rule, guard
        )
        ends = (self.target.last_before, self.target.first_beyond)
        wanted = sum(step * end for end in ends if end is not None) / 2
        difference = round((measured.value - wanted) / step, 6) * step
        text = f"{self._verb()} {self._between(*brackets)} in {_searches(len(done))}"
        text += f", wanted {self._between(self.target)}"
        if decision.outcome is not Outcome.PASS:
            text += f": {_six(abs(difference))} {self.spec.unit} too {self._way_off(difference)}"
        outcome = decision.outcome
        odd = self._odd(done)
        if odd:
            outcome = worst([outcome, Outcome.FAIL])
            text += f"; the answers at {', '.join(odd)} do not fit one step"
        return Judged(outcome, text, measured, difference)

    def _judge_open(self, bracket: Bracket) -> Judged:
        verb = "trips" if self.point == TRIP else "clears"
        if bracket.last_before is None and bracket.first_beyond is not None:
            shown = self.stations.show(bracket.first_beyond)
            return Judged(Outcome.FAIL, f"{verb} everywhere, as far as {shown}")
        side = self.stations.side(self.edge)
        end = self.stations.show(side[-1] if self.rising else side[0])
        text = f"never {verb}, up to {end}"
        if self.point == RESET and self.edge.latched:
            return Judged(
                Outcome.INCONCLUSIVE, f"{text}: its latch hides the reset point, see the latch"
            )
        return Judged(Outcome.FAIL, text)

    def _odd(self, done: list[Trial]) -> list[str]:
        """Return the values whose answers no single step explains, beyond the input's noise."""
        found = {count for search in done for count in search.contradictions}
        point = self.target.first_beyond
        return [
            self.stations.show(count)
            for count in sorted(found)
            if point is None or self._noise <= 1 or abs(count - point) > self._noise
        ]

    @property
    def _noise(self) -> int:
        """Return how many counts the input may wander by itself."""
        return math.ceil(self.stations.input.noise / self.stations.grid.step)

    # --- events --------------------------------------------------------------------------------

    def extra_events(self, at: Instant) -> Iterator[Event]:
        done = [search for search in self.searches if search.done]
        judged = self.judged or Judged(Outcome.NOT_RUN, "")
        low, high = self._ends([one.bracket for one in done or self.searches[-1:]])
        measured = judged.measured
        origin = float(self.stations.grid.origin)
        wanted = self.edge.trip if self.point == TRIP else self.edge.reset
        yield AlarmPoint(
            at=at,
            index=self.place.index,
            step=self.place.step,
            spec=self.spec.name,
            signal=self.spec.signal,
            alarm=self.alarm,
            point=self.point,
            way="rising" if self.rising else "falling",
            wanted=show_number(wanted),
            low=low,
            high=high,
            mean="" if measured is None else _six(origin + measured.value),
            spread="" if measured is None else _six(measured.spread),
            repeats=len(done),
            probes=max((search.probes for search in self.searches), default=0),
            odd=tuple(self._odd(done)),
            uncertainty="" if measured is None else _six(COVERAGE * measured.u),
            rule=self.spec.tolerance.rule.value,
            difference="" if judged.difference is None else _six(judged.difference),
            unit=self.spec.unit,
            outcome=judged.outcome.word,
            text=judged.text,
            place=str(self.mark),
            requirements=self.requirements,
        )

    # --- words ---------------------------------------------------------------------------------

    def _verb(self) -> str:
        way = "rising" if self.rising else "falling"
        return f"{'trips' if self.point == TRIP else 'clears'} {way}"

    def _ends(self, brackets: list[Bracket]) -> tuple[str, str]:
        """Return the lower and the upper end of the interval of all brackets, as values."""
        before = [one.last_before for one in brackets if one.last_before is not None]
        beyond = [one.first_beyond for one in brackets if one.first_beyond is not None]
        lower, upper = (before, beyond) if self.rising else (beyond, before)
        value = self.stations.value
        return (
            show_number(value(min(lower))) if lower else "",
            show_number(value(max(upper))) if upper else "",
        )

    def _between(self, *brackets: Bracket) -> str:
        low, high = self._ends(list(brackets))
        return f"between {low or 'the low end'} and {high or 'the high end'} {self.spec.unit}"

    @staticmethod
    def _way_off(difference: float) -> str:
        return "high" if difference > 0 else "low"


def _searches(count: int) -> str:
    return "1 search" if count == 1 else f"{count} searches"


def _six(number: float) -> str:
    """Render with six significant digits, without exponent where that is readable."""
    return f"{number:.6g}"
