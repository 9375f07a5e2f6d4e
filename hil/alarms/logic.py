"""What an alarm spec means over time: the reference logic, as a machine.

    receive(sample, now)    the input, or the acknowledge signal; Restart when the node booted
    tick(now)               a delay, the start-up hold, or an age limit may be over
    take_sends()            every change of what must be shown, with its instant

This file never reads a clock.  Each alarm band is a limit alarm of its own with its own dead
band, delays and latch; what must be shown is the most severe one that stands.  A fault, a stale
value and silence are shown as such: they count neither as normal nor as alarm, and time without
a reading counts towards no delay.
"""

from dataclasses import dataclass
from decimal import Decimal

from hil.alarms.edge import decided, edges
from hil.alarms.spec import FAULT, SILENT, STALE, START_UP, AfterFault, Spec
from hil.alarms.standing import Standing
from hil.core.instant import Duration, Instant, earliest
from hil.core.signal import Sample, Validity

_TICK = 1  # an age is inclusive: "too old" begins one nanosecond later


@dataclass(frozen=True, slots=True, kw_only=True)
class Restart:
    """The deciding node has booted: the start-up hold begins again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """What must be shown: a band's name, or fault, stale, silent, start-up.

    `held` says that only the latch still shows it; `unacknowledged` names the latched alarms that
    nobody has acknowledged, also those that a more severe one or a fault hides.
    """

    look: str
    held: bool = False
    unacknowledged: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """From `at` on this must be shown."""

    at: Instant
    state: State


class Logic:
    """The reference logic of one spec, from a start at which nothing is known."""

    def __init__(self, spec: Spec, start: Instant) -> None:
        self.spec = spec
        self._standings = [Standing(edge) for edge in edges(spec)]
        self._turns: list[Turn] = []
        self._acknowledge_label: str | None = None  # the last label of the acknowledge signal
        self._begin(start)
        self.state = self._now_shown()
        self._turns.append(Turn(at=start, state=self.state))

    def receive(self, thing: Sample | Restart, now: Instant) -> None:
        """Take in a sample of the input or of the acknowledge signal, or a restart."""
        self._advance(Instant(now - 1))
        if isinstance(thing, Restart):
            survives = self.spec.latch is not None and self.spec.latch.survives_restart
            for standing in self._standings:
                standing.restart(survives)
            self._acknowledge_label = None
            self._begin(now)
        elif thing.signal == self.spec.signal:
            self._take(thing, now)
        elif self.spec.latch is not None and thing.signal == self.spec.latch.signal:
            self._take_acknowledgement(thing)
        self._publish(now)

    def tick(self, now: Instant) -> None:
        """Let everything happen that is due at or before `now`."""
        self._advance(now)

    def next_wakeup(self) -> Instant | None:
        """Return when a delay, the hold or an age is over, if nothing arrives before."""
        hold = self._hold_until if self._held else None
        dues = [standing.due for standing in self._standings] if self._judging else []
        return earliest(hold, self._stale_at(), self._silent_at(), *dues)

    def take_sends(self) -> tuple[Turn, ...]:
        """Hand over the changes of what must be shown since the last call."""
        turns, self._turns = tuple(self._turns), []
        return turns

    @property
    def _judging(self) -> bool:
        return self._value is not None and not self._held

    def _begin(self, now: Instant) -> None:
        self._value: Decimal | None = None
        self._without = START_UP  # what is shown while there is no value
        self._fresh_at: Instant | None = None
        self._heard_at = now
        self._hold_until = Instant(now + self.spec.start_up.hold)
        self._held = self.spec.start_up.hold > 0

    def _take(self, sample: Sample, now: Instant) -> None:
        if sample.validity is Validity.STALE:
            if self._without != SILENT:
                self._lose(STALE, now)
            self._fresh_at = None
            return
        self._fresh_at = self._heard_at = now
        value = sample.value if sample.validity is Validity.VALID else None
        if not isinstance(value, Decimal) or not self._measures(value):
            self._lose(FAULT, now)
            return
        self._value, self._without = decided(self.spec, value), ""
        self._look(now)

    def _measures(self, value: Decimal) -> bool:
        return value.is_finite() and self.spec.low <= value <= self.spec.high

    def _look(self, now: Instant) -> None:
        if self._held or self._value is None:
            return
        for standing in self._standings:
            standing.look(self._value, now)

    def _lose(self, look: str, now: Instant) -> None:
        if not self._held and self._value is not None:
            afresh = self.spec.no_reading.after is AfterFault.AFRESH
            for standing in self._standings:
                standing.lose(now, afresh)
        self._value, self._without = None, look

    def _take_acknowledgement(self, sample: Sample) -> None:
        latch = self.spec.latch
        if latch is None or sample.validity is not Validity.VALID:
            return
        before, self._acknowledge_label = self._acknowledge_label, str(sample.value)
        pressed = before not in (None, latch.label) and sample.value == latch.label
        for standing in self._standings if pressed else ():
            standing.acknowledge(latch.while_active)

    def _stale_at(self) -> Instant | None:
        if self._without == STALE:
            return None
        return _too_old(self._fresh_at, self.spec.no_reading.stale_after)

    def _silent_at(self) -> Instant | None:
        if self._without == SILENT:
            return None
        return _too_old(self._heard_at, self.spec.no_reading.silent_after)

    def _advance(self, now: Instant) -> None:
        wakeup = self.next_wakeup()
        while wakeup is not None and wakeup <= now:
            self._wake(wakeup)
            self._publish(wakeup)
            wakeup = self.next_wakeup()

    def _wake(self, at: Instant) -> None:
        """Ages come first: a delay counts only while there is a reading."""
        if self._silent_at() == at:
            self._lose(SILENT, at)
            self._fresh_at = None
        if self._stale_at() == at:
            self._lose(STALE, at)
            self._fresh_at = None
        if self._held and self._hold_until == at:
            self._held = False
            self._look(at)
        for standing in self._standings if self._judging else ():
            if standing.due == at:
                standing.change(at)

    def _publish(self, now: Instant) -> None:
        state = self._now_shown()
        if state != self.state:
            self.state = state
            self._turns.append(Turn(at=now, state=state))

    def _now_shown(self) -> State:
        open_ones = [one for one in self._standings if one.latched and not one.acknowledged]
        unacknowledged = tuple(one.edge.alarm for one in open_ones)
        if self._held or self._value is None:
            look = START_UP if self._held else self._without
            return State(look=look, unacknowledged=unacknowledged)
        shown = [standing for standing in self._standings if standing.shown]
        if not shown:
            return State(look=self.spec.normal, unacknowledged=unacknowledged)
        worst = max(shown, key=_weight)
        return State(look=worst.edge.alarm, held=not worst.active, unacknowledged=unacknowledged)


def _weight(standing: Standing) -> tuple[int, int, bool]:
    """More severe first; of two as severe the later one, then the one on the high side."""
    return (standing.edge.severity, standing.activated_at, standing.edge.rising)


def _too_old(last: Instant | None, age: Duration | None) -> Instant | None:
    return Instant(last + age + _TICK) if last is not None and age is not None else None
