"""Trials: repeated, put back, counted, stopped when certain; one verdict on all of them."""

from dataclasses import replace
from decimal import Decimal

import pytest
from core.paper import SIGNALS, at, case, is_red, ms, obedient, play, step
from measure.mast import MAST, datagram
from measure.meters import label, number

from hil.core.event import CaseEnded, CheckDecided, CommandLogged, TrialEnded
from hil.core.instant import Instant
from hil.core.observation import CommandLost, HostNote, HostTrouble, Samples
from hil.core.plan import OneOf, Timing
from hil.core.signal import Sample, Validity
from hil.core.verdict import Outcome
from hil.measure.bound import Bound
from hil.measure.repeating import ENDLESS_WINDOW, Repeating
from hil.measure.showing import Showing
from hil.measure.traffic import Metric, Traffic
from hil.measure.trial_statement import AtLeast, Percentile

ONCE = step({"feedline.pressure": "4.8"}, [is_red(within=ms(50))])
NONE_LOST = Bound(low=None, high=Decimal(0), words="at most 0 %")
GREEN = replace(is_red(within=ms(3000)), condition=OneOf(values=("green",)))


def at_least(percent, confidence=95):
    return AtLeast(share=Decimal(percent) / 100, confidence=Decimal(confidence) / 100)


def percentile(percent, below, confidence=95):
    share, sure = Decimal(percent) / 100, Decimal(confidence) / 100
    return Percentile(share=share, confidence=sure, below=ms(below))


def repeated(count, *wanted, once=ONCE, precondition=()):
    inner = case(once, precondition=precondition)
    job = Repeating(case=inner, count=count, wanted=wanted)
    return case(replace(step(), job=job), title="over-pressure")


class Rack:
    """A lamp that reddens after so many ms at each trial; None: never."""

    def __init__(self, delays):
        self.delays, self.asked = delays, 0

    def __call__(self, command, now):
        found = obedient(command, now)
        if command.signal == "feedline.pressure" and command.value > 4:
            delay = self.delays[self.asked % len(self.delays)]
            self.asked += 1
            found = found[:1]
            if delay is not None:
                when = Instant(now + ms(delay))
                lamp = Sample("beacon.lamp", "red", Validity.VALID, when, when)
                found.append((when, Samples("beacon", [lamp])))
        return found


def kinds(events, kind):
    return [event for event in events if isinstance(event, kind)]


def test_trials_run_to_the_count_that_proves_the_share_and_are_put_back_each_time():
    # no failure in 59 shows 95 % with 95 % (success run, 0.95^59 = 0.048)
    machine, events = play([repeated(59, at_least(95))], Rack([5]))
    trials = kinds(events, TrialEnded)
    purposes = [e.purpose for e in kinds(events, CommandLogged) if e.state == "accepted"]

    assert machine.outcome is Outcome.PASS
    assert [event.number for event in trials] == list(range(1, 60))
    assert {event.latency for event in trials} == {(5_000_000, 5_000_000)}
    assert purposes[:4] == ["stimulus", "restore"] * 2
    (check,) = kinds(events, CheckDecided)
    assert "59 of 59 trials passed" in check.text and check.margin == 1.0
    assert check.figures[0][1] == pytest.approx(100 * 0.05 ** (1 / 59))


def test_trials_stop_as_soon_as_the_answer_is_certain():
    # with 59 trials one failure leaves it open, three of the first three decide nothing yet:
    # P(>= f failures of 59 | 5 %) <= 5 % begins at 7
    machine, events = play([repeated(59, at_least(95))], Rack([None]))

    assert machine.outcome is Outcome.FAIL
    assert len(kinds(events, TrialEnded)) == 7
    (ended,) = kinds(events, CaseEnded)
    assert "0 of 7 trials passed" in ended.reasons[0]
    assert ended.reasons[1].startswith("trial 1: over-pressure, step 1: beacon.lamp")


def test_one_failure_in_a_bare_proof_is_neither_way():
    machine, events = play([repeated(59, at_least(95))], Rack([None, *[5] * 200]))

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert len(kinds(events, TrialEnded)) <= 59
    assert "not certain either way" in kinds(events, CaseEnded)[0].reasons[0]


def test_an_early_pass_needs_no_more_trials():
    # at least half of 100: with 59 passes the rest could all fail (a = 41, r = 59)
    machine, events = play([repeated(100, at_least(50))], Rack([5]))

    assert machine.outcome is Outcome.PASS
    assert len(kinds(events, TrialEnded)) == 59


@pytest.mark.parametrize(
    ("below", "outcome"), [(6, Outcome.PASS), (5, Outcome.PASS), (4, Outcome.FAIL)]
)
def test_a_percentile_of_the_latency_is_judged_by_its_bounds(below, outcome):
    machine, events = play([repeated(100, percentile(90, below))], Rack([5]))

    assert machine.outcome is outcome
    (check,) = kinds(events, CheckDecided)
    assert "the 90 % percentile of the latency" in check.wanted
    if outcome is Outcome.PASS:
        assert check.margin == pytest.approx((below - 5) / below, abs=1e-6)


def test_a_failed_trial_has_an_endless_latency():
    machine, events = play([repeated(60, percentile(90, 20))], Rack([5, 5, 5, None]))

    assert machine.outcome is Outcome.FAIL
    assert {event.latency for event in kinds(events, TrialEnded)} == {(5_000_000,) * 2, None}


def test_only_what_waits_for_something_makes_a_latency():
    # the lamps differ 400 ms after the stimulus, for a moment: that is no latency
    showing = Showing(
        signals=("beacon.lamp", "tile.disc"), within=ms(100), tolerance=Decimal(0), window=ms(500)
    )
    same = replace(
        is_red(), measure=showing, signals=showing.signals, timing=Timing(during=(ms(0), ms(500)))
    )
    once = step({"feedline.pressure": "4.8"}, [is_red(within=ms(50)), same])

    def answer(command, now):
        found = Rack([5])(command, now)
        if command.signal == "feedline.pressure" and command.value > 4:
            for delay, path, colour in (
                (6, "disc", "red"),
                (400, "disc", "off"),
                (430, "disc", "red"),
            ):
                when = Instant(now + ms(delay))
                sample = Sample(f"tile.{path}", colour, Validity.VALID, when, when)
                found.append((when, Samples("tile", [sample])))
        return found

    signals = SIGNALS | {"tile.disc": label("tile.disc", "off", "red")}
    _, events = play([repeated(20, percentile(80, 10), once=once)], answer, signals=signals)

    assert {event.latency for event in kinds(events, TrialEnded)} == {(5_000_000, 5_000_000)}


def test_the_precondition_is_awaited_before_each_trial():
    machine, events = play(
        [repeated(20, at_least(80), precondition=(GREEN,))],
        Rack([5]),
        things=[
            (0, Samples("beacon", [Sample("beacon.lamp", "green", Validity.VALID, at(0), at(0))]))
        ],
    )

    assert machine.outcome is Outcome.PASS
    assert kinds(events, TrialEnded)[0].outcome == "pass"


@pytest.mark.parametrize(
    ("count", "ending"),
    # P(0 failures of 20 | 20 %) = 1.2 %, of 1 or fewer 6.9 %; of 40 one is far from too many
    [(20, "with them as failures it would not be certain"), (40, "it would pass too")],
)
def test_a_trial_the_bench_cannot_judge_is_set_aside_and_told(count, ending):
    left = [True]

    def deaf_once(command, now):
        if command.signal == "feedline.pressure" and left:
            left.pop()
            when = Instant(now + ms(50))
            return [(when, CommandLost(token=command.token, at=when, detail="no answer"))]
        return Rack([5])(command, now)

    machine, events = play([repeated(count, at_least(80))], deaf_once)
    outcomes = [event.outcome for event in kinds(events, TrialEnded)]

    assert machine.outcome is Outcome.PASS
    assert outcomes[0] == "inconclusive" and outcomes.count("pass") == len(outcomes) - 1
    (check,) = kinds(events, CheckDecided)
    aside = f"1 of {len(outcomes)} trials set aside, which the bench could not judge"
    assert aside in check.text and check.text.endswith(ending)


def test_a_late_host_excuses_the_trial_it_fell_into_and_no_other():
    late = HostNote(trouble=HostTrouble.LATE, at=at(30), amount=ms(20), text="20 ms late")
    machine, events = play([repeated(59, at_least(95))], Rack([None]), [(ms(30), late)])
    outcomes = [event.outcome for event in kinds(events, TrialEnded)]

    assert machine.outcome is Outcome.FAIL
    assert outcomes == ["inconclusive", *["fail"] * 7]
    assert "0 of 7 trials passed" in kinds(events, CaseEnded)[0].reasons[0]


@pytest.mark.parametrize("dropped", [False, True])
def test_dropped_datagrams_excuse_what_is_counted_over_all_trials(dropped):
    lost = Traffic(node=MAST, metric=Metric.LOSS, bound=NONE_LOST, window=ENDLESS_WINDOW)
    counted = replace(is_red(), measure=lost, signals=("mast.light",))
    inner = repeated(20, at_least(80), once=replace(ONCE, wait=ms(100)))
    (plain,) = inner.steps
    job = replace(plain.job, traffic=(counted,))
    things = [datagram(number, 10 * number) for number in (1, 2, 4, 5)]
    note = HostNote(
        trouble=HostTrouble.DROPPED,
        at=Instant(things[2][0] - 1),
        amount=1,
        text="1 datagram dropped",
    )
    noted = [(note.at, note)] if dropped else []
    machine, _ = play(
        [replace(inner, steps=(replace(plain, job=job),))],
        Rack([5]),
        things + noted,
        SIGNALS | {"mast.light": number("mast.light", "lx")},
    )

    assert machine.outcome is (Outcome.INCONCLUSIVE if dropped else Outcome.FAIL)


def test_a_bench_that_can_never_tell_gives_up():
    def deaf(command, now):
        when = Instant(now + ms(50))
        return [(when, CommandLost(token=command.token, at=when, detail="no answer"))]

    machine, events = play([repeated(20, at_least(80))], deaf)

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert len(kinds(events, TrialEnded)) == 4
    (reason, *_) = kinds(events, CaseEnded)[0].reasons
    assert "4 of 4 trials set aside, which the bench could not judge; more than the 3" in reason
