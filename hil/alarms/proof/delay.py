"""Delays: how long, and what interrupts them.

    whole         beyond and there to stay            shown after the delay
    short         a pulse just shorter                never shown
    long          a pulse just longer                 shown
    interrupted   away for one sample, then back      unbroken: the whole delay again
                                                      accumulated: only the rest
    dipped        into the dead band, then back       as the spec says: counts, or interrupts

The same for the off-delay, on the way back.  All times are those of the input's own readings, so
that a slow stimulus makes a pulse inconclusive and not the node wrong.
"""

import math

from hil.alarms.decision import Estimate, decide
from hil.alarms.edge import Edge, Place
from hil.alarms.proof.dialogue import Pause, Steps, Until
from hil.alarms.proof.proof import Finding, Proof
from hil.alarms.proof.proof import Place as Where
from hil.alarms.proof.timing import Crossing, Span, between, entered
from hil.alarms.spec import Counting, Delay, Spec
from hil.alarms.target import reset_target, trip_target
from hil.core.instant import SECOND, Duration, after, show_duration
from hil.core.scene import Scene
from hil.core.verdict import Outcome

BEFORE_THE_BREAK = 0.6
"""How much of the delay has passed when it is interrupted."""

ATTEMPTS = 3


class DelayProof(Proof):
    """The on-delay or the off-delay of one edge."""

    def __init__(
        self, spec: Spec, scene: Scene, place: Where, edge: Edge, delay: Delay, repeats: int
    ) -> None:
        super().__init__(spec, scene, place, edge.alarm)
        self.edge, self.delay, self.repeats = edge, delay, repeats
        self.on = delay is edge.on_delay
        self.word = "on-delay" if self.on else "off-delay"
        self._spans: list[Span] = []
        stations = self.stations
        trip = trip_target(spec, edge, stations.grid).last_before
        reset = reset_target(spec, edge, stations.grid).last_before
        self._inside = trip if self.on else reset
        self._towards = stations.middle(edge.alarm if self.on else spec.normal)
        self._away = stations.middle(spec.normal if self.on else edge.alarm)
        self._place = Place.BEYOND if self.on else Place.CLEAR
        self._opposite = Place.CLEAR if self.on else Place.BEYOND
        self._spare = Duration(max(stations.slack, self.delay.length // 20))

    def prove(self) -> Steps[None]:
        if self._towards is None or self._away is None:
            self.note(Outcome.INCONCLUSIVE, f"{self.alarm} is out of reach of the stimulus")
            return
        for _ in range(self.repeats):
            yield from self._whole(self._towards)
        yield from self._pulse(self._towards, self._away, longer=False)
        yield from self._pulse(self._towards, self._away, longer=True)
        yield from self._interrupted(self._towards, self._away)
        if self.edge.dead_band > 0 and self._inside is not None:
            yield from self._dipped(self._towards, self._inside)

    # --- single trials -------------------------------------------------------------------------

    def _begin(self) -> Steps[None]:
        """Let the alarm come and go once, so that no time is left over, then stand ready."""
        yield from self.moves.standing(self.edge)
        if self.on:
            yield from self.moves.normal()
        self.panel.begin()

    def _seen(self) -> Steps[bool]:
        """Wait for the change to be shown as long as the spec allows; say whether it was."""
        stations, edge = self.stations, self.edge
        patience = stations.after_on(edge) if self.on else stations.after_off(edge)
        wait = self.moves.shown if self.on else self.moves.gone
        return (yield from wait(edge, patience))

    def _elapsed(self, start: Crossing | None) -> Span | None:
        """Return the time from a crossing of the input to the change that was shown."""
        shown = [c for c in self.panel.votes if self.moves.stands(self.edge, c.looks) is self.on]
        if start is None or not shown:
            return None
        return between(start, shown[-1].since, shown[-1].at)

    def _whole(self, towards: int) -> Steps[None]:
        yield from self._begin()
        yield from self.moves.impose(towards)
        met = yield from self._seen()
        span = self._elapsed(entered(self.moves, self.edge, self._place))
        if not met or span is None:
            self.note(Outcome.FAIL, f"never {self._change()} although the input stayed")
            return
        self._spans.append(span)

    def _pulse(self, towards: int, away: int, longer: bool) -> Steps[None]:
        """A pulse just longer or just shorter than the delay."""
        length = self.delay.length
        spare = self.stations.agreement + self._spare if longer else self._spare
        wanted = Duration(length + spare if longer else max(length // 2, length - spare))
        for _ in range(ATTEMPTS):
            yield from self._begin()
            yield from self.moves.impose(towards)
            start = entered(self.moves, self.edge, self._place)
            begun = self.moves.now if start is None else start.at
            self.moves.now = (yield Pause(after(begun, wanted))).now
            yield from self.moves.impose(away)
            yield from self.moves.wait(self.stations.after_on(self.edge))
            end = entered(self.moves, self.edge, self._opposite, start)
            if start is None or end is None:
                continue
            span = between(start, end.since, end.at)
            if (span.least > length) if longer else (span.most < length):
                self._tell_pulse(span, longer)
                return
        word = "longer" if longer else "shorter"
        text = f"no pulse just {word} than {show_duration(length)} could be brought about"
        self.note(Outcome.INCONCLUSIVE, text)

    def _tell_pulse(self, span: Span, longer: bool) -> None:
        states = [self.moves.stands(self.edge, change.looks) for change in self.panel.votes]
        came = any(state is self.on for state in states)
        shown = show_duration(Duration(round(span.middle)))
        text = f"{self._change() if came else 'not ' + self._change()} after {shown}"
        self.judge(came is longer, text, f"{text} of {show_duration(self.delay.length)}")

    def _interrupted(self, towards: int, away: int) -> Steps[None]:
        broken = yield from self._broken(towards, away, self._opposite)
        if broken is None:
            return
        before, gap, back = broken
        rest = self.delay.length
        forget = self.delay.forget_after
        if self.delay.counting is Counting.ACCUMULATED and (forget is None or gap.most <= forget):
            rest = Duration(max(0, rest - round(before.middle)))
        self._tell_rest("an interruption one sample long", rest, before.half, back)

    def _dipped(self, towards: int, inside: int) -> Steps[None]:
        broken = yield from self._broken(towards, inside, Place.INSIDE)
        if broken is None:
            return
        before, gap, back = broken
        rest = self.delay.length
        if self.delay.dead_band_counts:
            rest = Duration(max(0, rest - round(before.middle + gap.middle)))
        elif self.delay.counting is Counting.ACCUMULATED:
            rest = Duration(max(0, rest - round(before.middle)))
        self._tell_rest("a dip into the dead band", rest, before.half, back)

    def _broken(
        self, towards: int, away: int, place: Place
    ) -> Steps[tuple[Span, Span, Crossing] | None]:
        """Go beyond, away for one sample, back, and wait; return the stay, the gap, the return."""
        yield from self._begin()
        yield from self.moves.impose(towards)
        start = entered(self.moves, self.edge, self._place)
        begun = self.moves.now if start is None else start.at
        part = Duration(int(self.delay.length * BEFORE_THE_BREAK))
        self.moves.now = (yield Pause(after(begun, part))).now
        yield from self.moves.impose(away)
        deadline = after(self.moves.now, self.stations.arrival)
        reply = yield Until(
            lambda: entered(self.moves, self.edge, place, start) is not None, deadline
        )
        self.moves.now = reply.now
        gone = None if start is None else entered(self.moves, self.edge, place, start)
        yield from self.moves.impose(towards)
        back = None if gone is None else entered(self.moves, self.edge, self._place, gone)
        yield from self._seen()
        if start is None or gone is None or back is None:
            text = "the interruption was not seen on the input"
            self.note(Outcome.INCONCLUSIVE, text)
            return None
        return between(start, gone.since, gone.at), between(gone, back.since, back.at), back

    # --- judging -------------------------------------------------------------------------------

    def _tell_rest(self, what: str, rest: Duration, unsure: float, back: Crossing) -> None:
        span = self._elapsed(back)
        if span is None:
            self.note(Outcome.FAIL, f"after {what} never {self._change()}")
            return
        wider = Span(Duration(int(span.least - unsure)), Duration(math.ceil(span.most + unsure)))
        outcome = self._verdict(wider.middle, wider.half / math.sqrt(3), rest)
        took = f"{show_duration(Duration(round(span.middle)))} after"
        if span.most < 0:
            took = "before the end of"
        text = f"{self._change()} {took} {what}, wanted {show_duration(rest)}"
        self.note(outcome, text)

    def summarise(self, whole: bool) -> None:
        if not self._spans:
            return
        middles = [span.middle for span in self._spans]
        count = len(middles)
        mean = math.fsum(middles) / count
        variance = math.fsum((one - mean) ** 2 for one in middles) / max(1, count - 1)
        half = max(span.half for span in self._spans)
        u = math.sqrt(variance / count + half**2 / 3)
        outcome = self._verdict(mean, u, self.delay.length)
        shown, wanted = show_duration(Duration(round(mean))), show_duration(self.delay.length)
        self.measured.append(("delay", shown))
        self.measured.append(("spread", show_duration(Duration(round(math.sqrt(variance))))))
        self.findings.insert(0, Finding(outcome, f"{shown}, wanted {wanted}"))

    def _verdict(self, nanoseconds: float, u: float, wanted: Duration) -> Outcome:
        """Judge a time: from the delay up to the agreement time later, ± the tolerance."""
        tolerance = self.spec.tolerance
        low = wanted - tolerance.time
        high = wanted + tolerance.time + self.stations.agreement
        measured = Estimate(value=nanoseconds / SECOND, u=u / SECOND)
        rule, guard = tolerance.rule, float(tolerance.guard)
        return decide(measured, low / SECOND, high / SECOND, rule, guard).outcome

    def _change(self) -> str:
        return "shown" if self.on else "gone"
