"""The meaning of an alarm spec, evaluated nanosecond by nanosecond from its definition.

Independent of the machine: no timers and no wakeups, only "the condition held at every instant
of this window", asked anew at each instant.  Slow, and meant for traces of some dozen ns.
"""

from hil.alarms.logic import Restart
from hil.alarms.spec import AfterFault, ClearsAt, Counting, Spec, Width
from hil.core.signal import Validity


def timeline(spec: Spec, things, until: int):
    """Return (look, held by its latch, unacknowledged alarms) at each ns from 0 to `until`."""
    return _Grid(spec, things, until).answer()


class _Alarm:
    def __init__(self, spec, band, rising, severity):
        self.band, self.rising, self.severity = band, rising, severity
        self.trip = band.low if rising else band.high
        owned = band.low_included if rising else band.high_included
        sign = 1 if rising else -1
        self.beyond = lambda v: sign * v > sign * self.trip or (owned and v == self.trip)
        match band.dead_band:
            case Width(amount=amount, level_clears=clears):
                reset = self.trip - sign * amount
            case ClearsAt(level=reset, level_clears=clears):
                pass
            case None:
                reset, clears = self.trip, True
        self.clear = lambda v: (
            not self.beyond(v) and (sign * v < sign * reset or (clears and v == reset))
        )
        self.on, self.off = [], []  # does the time count, at each ns
        self.active, self.flips = [], [0]
        self.latched = self.acknowledged = False
        self.activated = 0


class _Grid:
    def __init__(self, spec, things, until):
        self.spec, self.until = spec, until
        self.things = dict(things)
        assert len(self.things) == len(things), "one thing at an instant"
        normal = [b.name for b in spec.bands].index(spec.normal)
        self.alarms = [
            _Alarm(spec, b, i > normal, abs(i - normal))
            for i, b in enumerate(spec.bands)
            if i != normal
        ]
        self.epochs = [
            max([at for at, x in things if isinstance(x, Restart) and at <= t], default=0)
            for t in range(until + 1)
        ]
        self.looks = [self.no_value(t) for t in range(until + 1)]
        self.values = [self.value(t) for t in range(until + 1)]

    def inputs(self, t):
        return [
            (at, x)
            for at, x in sorted(self.things.items(), key=lambda pair: pair[0])
            if self.epochs[t] <= at <= t
            and not isinstance(x, Restart)
            and x.signal == self.spec.signal
        ]

    def no_value(self, t):
        """Return what is shown instead of a band at t; None where there is a value."""
        seen, rules, epoch = self.inputs(t), self.spec.no_reading, self.epochs[t]
        heard = max([at for at, x in seen if x.validity is not Validity.STALE], default=epoch)
        if rules.silent_after is not None and t - heard > rules.silent_after:
            look = "silent"
        elif not seen:
            look = "start-up"
        elif seen[-1][1].validity is Validity.STALE or (
            rules.stale_after is not None and t - seen[-1][0] > rules.stale_after
        ):
            look = "stale"
        elif (
            seen[-1][1].validity is Validity.INVALID
            or not self.spec.low <= seen[-1][1].value <= self.spec.high
        ):
            look = "fault"
        else:
            look = None
        return "start-up" if t < epoch + self.spec.start_up.hold else look

    def value(self, t):
        if self.looks[t] is not None:
            return None
        value = self.inputs(t)[-1][1].value
        if self.spec.displayed_decides:
            value = round(value, self.spec.display.decimals)  # Python rounds half to even
        return value

    def counts(self, alarm, t, test, other, delay):
        """Return whether the instant t counts towards a delay, dips by its stated rule."""
        for s in range(t, -1, -1):
            if self.values[s] is None or self.epochs[s] != self.epochs[t]:
                return False
            if test(self.values[s]):
                return s == t or (delay is not None and delay.dead_band_counts)
            if other(self.values[s]):
                return False
        return False

    def over(self, alarm, t, counted, delay):
        if not counted[t]:
            return False
        if delay is None:
            return True
        if delay.counting is Counting.UNBROKEN:
            return t >= delay.length and all(counted[t - delay.length : t + 1])
        since = max(alarm.flips[-1], self.epochs[t])
        total = 0
        for s in range(since, t):
            total += counted[s]
            gap = delay.forget_after
            if (
                gap is not None
                and s - gap >= since
                and all(
                    self.values[r] is not None and not counted[r] for r in range(s - gap, s + 1)
                )
            ):
                total = 0
            if self.spec.no_reading.after is AfterFault.AFRESH and self.values[s] is None:
                total = 0
        return total >= delay.length

    def step(self, alarm, t):
        was = t > 0 and alarm.active[-1]
        alarm.on.append(self.counts(alarm, t, alarm.beyond, alarm.clear, alarm.band.on_delay))
        alarm.off.append(self.counts(alarm, t, alarm.clear, alarm.beyond, alarm.band.off_delay))
        latch = self.spec.latch
        if isinstance(self.things.get(t), Restart):
            alarm.latched = alarm.latched and not alarm.acknowledged and latch.survives_restart
            alarm.acknowledged, now = False, False
        elif was:
            if self.pressed(t) and alarm.latched and latch.while_active:
                alarm.acknowledged = True
            lost = self.spec.no_reading.after is AfterFault.AFRESH and self.values[t] is None
            now = not (lost or self.over(alarm, t, alarm.off, alarm.band.off_delay))
            if not now and alarm.acknowledged:
                alarm.latched = alarm.acknowledged = False
        else:
            if self.pressed(t):
                alarm.latched = False
            now = self.over(alarm, t, alarm.on, alarm.band.on_delay)
            if now:
                alarm.latched, alarm.acknowledged = alarm.band.latched, False
                alarm.activated = t
        if now is not was:
            alarm.flips.append(t)
        alarm.active.append(now)

    def pressed(self, t):
        latch, labels = self.spec.latch, []
        for at in range(self.epochs[t], t + 1):
            thing = self.things.get(at)
            if thing is None or latch is None or isinstance(thing, Restart):
                continue
            if thing.signal == latch.signal and thing.validity is Validity.VALID:
                labels.append((at, thing.value))
        return len(labels) > 1 and labels[-1] == (t, latch.label) and labels[-2][1] != latch.label

    def answer(self):
        rows = []
        for t in range(self.until + 1):
            for alarm in self.alarms:
                self.step(alarm, t)
            open_ones = tuple(a.band.name for a in self.alarms if a.latched and not a.acknowledged)
            if self.looks[t] is not None:
                rows.append((self.looks[t], False, open_ones))
                continue
            shown = [a for a in self.alarms if a.active[t] or a.latched]
            if not shown:
                rows.append((self.spec.normal, False, open_ones))
                continue
            top = max(shown, key=lambda a: (a.severity, a.activated, a.rising))
            rows.append((top.band.name, not top.active[t], open_ones))
        return rows
