"""Runs that are led: they wait before each case, and a case may take its steps one by one."""

from collections import Counter
from dataclasses import replace

import pytest
from core.paper import OVER_RED, at, case, deaf, is_red, ms, step
from core.test_machine_laws import RACK, UNTIL, Told, arm_follows, fed
from laws import obey

from hil.core.engine import Run
from hil.core.event import CaseEnded, CaseStarted, CommandLogged, RunEnded, StepStarted
from hil.core.instant import Instant
from hil.core.observation import Abort, HostNote, HostTrouble, Purpose
from hil.core.order import Dismiss, Peek, Perform, Proceed
from hil.core.scripted import Performed, Scripted
from hil.core.verdict import Outcome

CASES = [
    case(OVER_RED, title="first"),
    replace(case(OVER_RED, title="skipped"), skip="the lamp is away"),
    case(OVER_RED, title="second"),
]
FAILS = step({"feedline.pressure": "3"}, [is_red(within=ms(50))])


def lead(*orders, cases=CASES, answer=arm_follows):
    """Play a paced run with these orders, as (ms, order); return it and its events."""
    machine = Run(signals=RACK, cases=cases, start=Instant(0), paced=True)
    things = fed(lambda: machine, answer, [(int(at(when)), order) for when, order in orders])
    assert things
    return machine, machine.take_events()


def kinds(events, kind):
    return [event for event in events if isinstance(event, kind)]


def test_a_paced_run_starts_a_case_only_when_it_is_told_to():
    machine, events = lead(
        (100, Proceed(index=0)), (500, Proceed(index=2)), (900, Proceed(index=None))
    )
    started = {event.case: event.at for event in kinds(events, CaseStarted)}

    assert started == {"first": at(100), "skipped": at(500), "second": at(500)}
    assert machine.done and machine.safe
    assert machine.outcome is Outcome.PASS


def test_cases_that_are_passed_over_are_not_run():
    _, events = lead((0, Proceed(index=2)), (400, Proceed(index=None)))
    (ended,) = kinds(events, RunEnded)

    assert (ended.counts["not run"], ended.counts["skipped"], ended.counts["pass"]) == (1, 1, 1)


def test_an_order_while_a_case_is_on_changes_nothing():
    quiet = lead((0, Proceed(index=0)), (400, Proceed(index=None)))[1]
    hasty = lead((0, Proceed(index=0)), (1, Proceed(index=2)), (400, Proceed(index=None)))[1]

    assert quiet == hasty


def test_a_paced_run_that_waits_can_be_ended():
    abort = Abort(reason="enough", at=at(50), patience=ms(1000))
    machine, events = lead((50, abort))

    assert machine.done and machine.safe
    assert machine.aborted == "enough"
    assert kinds(events, RunEnded)[0].counts["not run"] == 3


def test_a_led_run_says_what_any_other_says():
    plain = Run(signals=RACK, cases=CASES[:1], start=Instant(0))
    fed(lambda: plain, arm_follows)
    led, events = lead((0, Proceed(index=0)), (1000, Proceed(index=None)), cases=CASES[:1])

    assert Counter(event.kind for event in plain.take_events()) == Counter(
        event.kind for event in events
    )
    assert (plain.outcome, plain.safe) == (led.outcome, led.safe)


def scripted(told):
    inner = case(title="led")
    job = Scripted(case=inner, watches=("beacon.lamp",), told=told.append)
    return replace(inner, steps=(replace(step(), job=job),), restore=False)


def test_a_scripted_case_does_one_step_after_another_and_puts_back_what_they_drove():
    told = []
    _, events = lead(
        (0, Proceed(index=0)),
        (100, Perform(step=OVER_RED)),
        (400, Peek(signal="beacon.lamp")),
        (500, Perform(step=FAILS)),
        (900, Dismiss()),
        (1200, Proceed(index=None)),
        cases=[scripted(told)],
    )
    begun, first, peeked, second = told

    assert begun is None
    assert first == Performed(outcome=Outcome.PASS, reasons=())
    assert peeked.value == "red"
    assert second.outcome is Outcome.FAIL
    assert "led, step 2: beacon.lamp was" in second.reasons[0]
    assert [event.step for event in kinds(events, StepStarted)] == [1, 1, 2]
    restored = [e for e in kinds(events, CommandLogged) if e.purpose == "restore"]
    assert {(e.signal, e.state) for e in restored} >= {("feedline.pressure", "accepted")}
    (ended,) = kinds(events, CaseEnded)
    assert (ended.outcome, ended.reasons) == ("fail", second.reasons)


@pytest.mark.parametrize("purpose", [Purpose.STIMULUS, Purpose.RESTORE])
def test_a_node_that_does_not_answer_a_scripted_case_is_named(purpose):
    def answer(command, now):
        return (deaf if command.purpose is purpose else arm_follows)(command, now)

    _, events = lead(
        (0, Proceed(index=0)),
        (100, Perform(step=OVER_RED)),
        (500, Dismiss()),
        (9000, Proceed(index=None)),
        cases=[scripted([])],
        answer=answer,
    )
    (ended,) = kinds(events, CaseEnded)

    assert (ended.outcome, ended.unsure) == ("inconclusive", ("feedline",))


@pytest.mark.parametrize("outcome", [Outcome.FAIL, Outcome.ERROR])
def test_what_the_program_found_by_itself_counts(outcome):
    _, events = lead(
        (0, Proceed(index=0)),
        (10, Dismiss(outcome=outcome, reason="the sum is wrong")),
        (50, Proceed(index=None)),
        cases=[scripted([])],
    )
    (ended,) = kinds(events, CaseEnded)

    assert (ended.outcome, ended.reasons) == (outcome.word, ("the sum is wrong",))


@pytest.mark.parametrize("when", [20, 120])
def test_an_abort_ends_a_scripted_case_and_whoever_waits_for_a_step_is_told(when):
    told = []
    slow = step({"feedline.pressure": "3"}, [is_red(within=ms(500))])
    abort = Abort(reason="enough", at=at(when), patience=ms(1000))
    machine, events = lead(
        (0, Proceed(index=0)), (100, Perform(step=slow)), (when, abort), cases=[scripted(told)]
    )

    assert machine.done and machine.safe
    assert kinds(events, CaseEnded)[0].outcome == "error"
    assert [type(one) for one in told] == [type(None), Performed][: 1 + (when > 100)]


ORDERS = [
    (100, Proceed(index=0)),
    (400, Proceed(index=2)),
    (700, Proceed(index=3)),
    (750, Perform(step=OVER_RED)),
    (1100, Perform(step=FAILS)),
    (1500, Dismiss()),
    (1900, Proceed(index=None)),
]


def test_the_laws_hold_for_a_run_that_is_led():
    def make():
        cases = [*CASES, scripted([])]
        return Run(signals=RACK, cases=cases, start=Instant(0), paced=True)

    things = fed(make, arm_follows, [(int(at(when)), order) for when, order in ORDERS])

    obey(lambda: Told(make()), things, UNTIL, Told.told)


def test_a_late_host_excuses_the_step_it_fell_into_and_no_other():
    told = []
    late = HostNote(trouble=HostTrouble.LATE, at=at(20), amount=ms(9), text="9 ms late")
    _, events = lead(
        (0, Proceed(index=0)),
        (20, late),
        (100, Perform(step=FAILS)),
        (400, Dismiss()),
        (800, Proceed(index=None)),
        cases=[scripted(told)],
    )

    assert told[1].outcome is Outcome.FAIL
    assert kinds(events, CaseEnded)[0].outcome == "fail"
