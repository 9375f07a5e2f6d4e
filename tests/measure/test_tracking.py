"""Following: the job drives its commands on time and measures lag, gain, error and phase."""

import math
from dataclasses import replace
from decimal import Decimal

import pytest
from core.paper import LAMP, MARK, PRESSURE, case, ms, obedient, play, step
from measure.meters import number

from hil.core.event import CaseEnded, CheckDecided, CommandLogged
from hil.core.instant import Instant
from hil.core.observation import CommandLost, Samples
from hil.core.signal import Sample, Validity
from hil.core.verdict import Outcome
from hil.measure.bound import Bound
from hil.measure.profile import Sine
from hil.measure.tracking import Follower, Measured, Tracking

ECHO = "mast.echo"
SIGNALS = {s.path: s for s in (PRESSURE, LAMP, number(ECHO, "bar", noise=Decimal("0.001")))}
SINE = Sine(centre=Decimal(3), amplitude=Decimal(1), frequency=Decimal("0.5"))
EVERY = ms(20)


def bound(low, high):
    ends = [None if end is None else Decimal(str(end)) for end in (low, high)]
    return Bound(low=ends[0], high=ends[1], words="so much")


def tracking(bounds, values=None, sine=SINE, count=200):
    values = values or tuple(round(SINE.at(EVERY * n), 3) for n in range(count))
    follower = Follower(signal=ECHO, bounds=tuple(bounds.items()))
    job = Tracking(
        signal="feedline.pressure",
        values=tuple(values),
        every=EVERY,
        after=ms(400),
        followers=(follower,),
        sine=sine,
        mark=MARK,
    )
    return case(replace(step(), job=job))


def echo(delay, gain="1", validity=Validity.VALID):
    """Answer each command, and show it `delay` ms later, about 3 bar times `gain`."""

    def answer(command, now):
        found = obedient(command, now)[:1]
        if command.signal == "feedline.pressure":
            when = Instant(now + ms(delay))
            value = 3 + (command.value - 3) * Decimal(gain)
            found.append((when, Samples("mast", [Sample(ECHO, value, validity, when, when)])))
        return found

    return answer


def checks(events):
    return {e.wanted.split()[0]: e for e in events if isinstance(e, CheckDecided)}


EVERYTHING = {
    Measured.LAG: bound(None, ms(100)),
    Measured.GAIN: bound("0.8", "1.2"),
    Measured.WORST: bound(None, 1),
    Measured.PHASE: bound(-30, None),
}


def test_a_delayed_and_smaller_sine_is_measured_as_it_is():
    machine, events = play([tracking(EVERYTHING)], echo(40, "0.9"), signals=SIGNALS)
    found = {name: event.figures[0] for name, event in checks(events).items()}

    assert machine.outcome is Outcome.PASS
    _, low, _, high, unit = found["lag"]
    assert low <= ms(40) <= high and unit == "ns" and high - low < ms(45)
    assert found["gain"][1] - 1e-3 <= 0.9 <= found["gain"][3] + 1e-3
    # a delay of 40 ms of a period of 2 s: 360 deg * 0.02
    assert found["phase"][2] == pytest.approx(-7.2, abs=0.2)
    # the greatest difference of sin(x) and 0.9 sin(x - 7.2 deg): the length of 1 - 0.9 e^(-i 7.2 deg)
    apart = abs(1 - 0.9 * complex(math.cos(math.radians(7.2)), -math.sin(math.radians(7.2))))
    assert found["worst-error"][2] == pytest.approx(apart, abs=0.07)


def test_commands_go_out_on_time_and_are_put_back():
    _, events = play([tracking(EVERYTHING)], echo(40), signals=SIGNALS)
    sent = [e for e in events if isinstance(e, CommandLogged) and e.state == "sent"]
    stimuli = [e.at for e in sent if e.purpose == "stimulus"]

    assert stimuli == [EVERY * n for n in range(200)]
    assert sent[200].purpose == "restore"


@pytest.mark.parametrize(
    ("what", "limit", "outcome"),
    [
        (Measured.LAG, bound(None, ms(10)), Outcome.FAIL),
        (Measured.LAG, bound(None, ms(40)), Outcome.INCONCLUSIVE),
        (Measured.GAIN, bound("0.95", None), Outcome.FAIL),
        (Measured.WORST, bound(None, "0.05"), Outcome.FAIL),
        (Measured.PHASE, bound(-5, None), Outcome.FAIL),
    ],
)
def test_what_is_beyond_its_bound_fails(what, limit, outcome):
    machine, events = play([tracking({what: limit})], echo(40, "0.9"), signals=SIGNALS)

    assert machine.outcome is outcome
    (ended,) = [e for e in events if isinstance(e, CaseEnded)]
    assert f"{ECHO}: {what.value} " in ended.reasons[0]


@pytest.mark.parametrize(
    ("answer", "outcome", "words"),
    [
        (obedient, Outcome.INCONCLUSIVE, "fewer than four samples"),
        (echo(40, "0"), Outcome.INCONCLUSIVE, "did not move"),
        (echo(40, "1", Validity.INVALID), Outcome.FAIL, "had no reading"),
        (echo(40, "1", Validity.STALE), Outcome.INCONCLUSIVE, "went stale"),
    ],
)
def test_what_cannot_be_measured_says_why(answer, outcome, words):
    machine, events = play(
        [tracking({Measured.LAG: bound(None, ms(100))})], answer, signals=SIGNALS
    )

    assert machine.outcome is outcome
    assert words in next(e for e in events if isinstance(e, CaseEnded)).reasons[0]


def test_a_lost_command_leaves_it_open():
    def answer(command, now):
        when = Instant(now + ms(50))
        if command.signal == "feedline.pressure":
            return [(when, CommandLost(token=command.token, at=when, detail="no answer"))]
        return obedient(command, now)

    machine, events = play([tracking(EVERYTHING)], answer, signals=SIGNALS)

    assert machine.outcome is Outcome.INCONCLUSIVE
    ended = next(e for e in events if isinstance(e, CaseEnded))
    assert "3 commands were not confirmed: no answer" in ended.reasons[0]


class Forgetful:
    """Echoes after 40 ms; loses the answer to some commands, and some of those commands too."""

    def __init__(self, unanswered, unheard=()):
        self.unanswered, self.unheard, self.count, self.last = unanswered, unheard, 0, 3

    def __call__(self, command, now):
        found = echo(40)(command, now)
        if command.signal != "feedline.pressure":
            return found
        number, self.count = self.count, self.count + 1
        if number in self.unanswered:
            when = Instant(now + ms(50))
            found[0] = (when, CommandLost(token=command.token, at=when, detail="no answer"))
        return found[:1] if number in self.unheard else found


LEVELS = tuple(Decimal(4 if n // 20 % 2 else 2) for n in range(100))


@pytest.mark.parametrize("unheard", [(), (60,)], ids=["carried out", "not carried out"])
def test_a_command_that_nobody_confirmed_is_counted_both_ways(unheard):
    # every 20 ms; the 61st begins a step of 2 bar, which the 62nd repeats 20 ms later
    wanted = {Measured.LAG: bound(None, ms(100)), Measured.WORST: bound(None, "2.1")}
    plain, _ = play([tracking(wanted, LEVELS, None)], echo(40), signals=SIGNALS)
    machine, events = play(
        [tracking(wanted, LEVELS, None)], Forgetful({60}, unheard), signals=SIGNALS
    )
    found = checks(events)

    assert (plain.outcome, machine.outcome) == (Outcome.PASS, Outcome.PASS)
    assert "a command was not confirmed, counted both ways" in found["lag"].text
    assert found["worst-error"].figures[0][1:4:2] == pytest.approx((1.999, 2.001))


@pytest.mark.parametrize("limit", ["0.5", "1.5"])
def test_what_either_way_allows_is_the_figure(limit):
    # one command of 4 bar between many of 2: it left, and an error of 2 bar followed, or it did not
    values = (*[Decimal(2)] * 60, Decimal(4), *[Decimal(2)] * 39)
    machine, events = play(
        [tracking({Measured.WORST: bound(None, limit)}, values, None)],
        Forgetful({60}, {60}),
        signals=SIGNALS,
    )
    (_, low, _, high, _) = checks(events)["worst-error"].figures[0]

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert (low, high) == pytest.approx((0, 2.001))


def test_a_response_that_stands_still_has_a_worst_error_and_no_lag():
    # it shows 3 bar whatever is commanded, and 4 is
    wanted = {Measured.WORST: bound(None, "0.9"), Measured.LAG: bound(None, ms(100))}
    _, events = play([tracking(wanted, LEVELS, None)], echo(40, "0"), signals=SIGNALS)
    found = checks(events)

    assert (found["lag"].outcome, found["worst-error"].outcome) == ("inconclusive", "fail")
    assert found["worst-error"].figures[0][2] == pytest.approx(1)


def test_a_node_that_reports_changes_only_counts_while_it_rests():
    # 0.4 s up, 0.4 s down: nine tenths of the echo's height are nine tenths, though it hardly speaks
    values = tuple(Decimal(4 if n // 20 % 2 else 2) for n in range(100))
    machine, events = play(
        [tracking({Measured.GAIN: bound("0.89", "0.91")}, values, None)],
        echo(10, "0.9"),
        signals=SIGNALS,
    )

    assert machine.outcome is Outcome.PASS, checks(events)
