"""The run as a machine, against a node made of one function."""

from decimal import Decimal

import pytest
from core.paper import (
    LAMP,
    PRESSURE,
    SIGNALS,
    at,
    case,
    deaf,
    expect,
    is_red,
    label,
    ms,
    number,
    obedient,
    play,
    sample,
    step,
)

from hil.core.event import (
    ActuatorSafe,
    CaseEnded,
    CheckDecided,
    CommandLogged,
    RunEnded,
    StepStarted,
)
from hil.core.instant import Instant
from hil.core.observation import (
    Abort,
    CommandAnswered,
    HostNote,
    HostTrouble,
    NodeNote,
    NodeTrouble,
    Samples,
)
from hil.core.plan import Unchanged
from hil.core.signal import Drive
from hil.core.verdict import Outcome

OVER = step({"feedline.pressure": "4.8"}, [is_red(within=ms(50))])
UNDER = step({"feedline.pressure": "3"}, [is_red(within=ms(50))])


def kinds(events, kind):
    return [event for event in events if isinstance(event, kind)]


def test_a_case_passes_and_every_driven_signal_ends_safe():
    machine, events = play([case(OVER)])

    assert (machine.outcome, machine.safe) == (Outcome.PASS, True)
    assert {"feedline.pressure", "beacon.lamp"} == {
        event.signal for event in kinds(events, ActuatorSafe) if event.confirmed
    }
    assert [event.elapsed for event in kinds(events, CheckDecided)] == [5_000_000]


def test_a_wrong_answer_fails_with_a_sentence_that_says_where_got_wanted_and_when():
    _, events = play([case(UNDER)])
    (ended,) = kinds(events, CaseEnded)

    assert ended.outcome == "fail"
    assert ended.reasons == (
        "over-pressure, step 1: beacon.lamp was green, wanted what was wanted at the deadline, "
        "50 ms after the stimulus",
    )


def test_all_checks_of_a_step_are_reported_not_the_first_failing_one():
    twice = step({"feedline.pressure": "3"}, [is_red(within=ms(50)), is_red(within=ms(60))])
    _, events = play([case(twice)])

    assert [event.outcome for event in kinds(events, CheckDecided)] == ["fail", "fail"]


def test_after_a_failed_step_the_rest_is_not_run_and_says_so():
    _, events = play([case(UNDER, OVER, OVER)])
    (ended,) = kinds(events, CaseEnded)

    assert ended.reasons[-1] == "steps 2 to 3 were not run"


def test_a_step_ends_as_soon_as_everything_is_decided():
    slow = step({"feedline.pressure": "4.8"}, [is_red(within=ms(60_000))])
    _, events = play([case(slow)])
    (ended,) = kinds(events, CaseEnded)

    assert ended.took < ms(20)


def test_what_a_case_touched_is_put_back_unless_it_says_no():
    def restores(events):
        return [
            e.signal
            for e in kinds(events, CommandLogged)
            if (e.purpose, e.state) == ("restore", "accepted")
        ]

    assert restores(play([case(OVER)])[1]) == ["feedline.pressure"]
    assert restores(play([case(OVER, restore=False)])[1]) == []


def test_a_precondition_that_is_not_met_is_inconclusive_and_nothing_is_stimulated():
    machine, events = play([case(OVER, precondition=(is_red(within=ms(100)),))])

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert not [e for e in kinds(events, CommandLogged) if e.purpose == "stimulus"]


def test_a_stimulus_without_an_answer_makes_a_failed_check_inconclusive():
    machine, events = play([case(UNDER, restore=False)], answer=deaf)

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert "the stimulus was not confirmed" in kinds(events, CheckDecided)[0].text
    assert kinds(events, CaseEnded)[0].unsure == ("feedline",)


def test_a_refused_stimulus_fails_the_case():
    def refuse(command, now):
        return [
            (
                now + ms(1),
                CommandAnswered(
                    token=command.token,
                    at=Instant(now + ms(1)),
                    accepted=False,
                    detail="out of range",
                ),
            )
        ]

    machine, events = play([case(UNDER)], answer=refuse)

    assert machine.outcome is Outcome.FAIL
    assert kinds(events, CaseEnded)[0].blamed == ("feedline",)
    assert (
        "refused the stimulus feedline.pressure: out of range"
        in kinds(events, CaseEnded)[0].reasons[0]
    )


@pytest.mark.parametrize("trouble", [HostTrouble.LATE, HostTrouble.DROPPED])
def test_a_check_that_fails_while_the_host_was_at_fault_is_inconclusive(trouble):
    note = HostNote(trouble=trouble, at=at(10), amount=160, text="host late 160 ms")
    machine, events = play([case(UNDER)], things=[(at(10), note)])

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert "host late 160 ms" in kinds(events, CheckDecided)[0].text


def test_a_check_that_passed_stays_passed_though_the_host_was_late():
    note = HostNote(trouble=HostTrouble.LATE, at=at(1), amount=160, text="host late 160 ms")

    assert play([case(OVER)], things=[(at(1), note)])[0].outcome is Outcome.PASS


def test_a_stepped_wall_clock_changes_no_verdict():
    note = HostNote(trouble=HostTrouble.CLOCK, at=at(10), amount=3600, text="stepped by 3600 s")

    assert play([case(UNDER)], things=[(at(10), note)])[0].outcome is Outcome.FAIL


def test_a_closed_port_is_named_well_before_the_deadline():
    note = NodeNote(
        node="beacon", trouble=NodeTrouble.UNREACHABLE, at=at(3), text="port closed at beacon"
    )
    waiting = step({"feedline.pressure": "3"}, [is_red(within=ms(60_000))])
    machine, events = play([case(waiting)], things=[(at(3), note)])
    (ended,) = kinds(events, CaseEnded)

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert ended.took < ms(100)
    assert "port closed at beacon" in ended.reasons[0]


def test_the_closed_port_of_a_node_that_may_reboot_excuses_nothing():
    note = NodeNote(
        node="beacon", trouble=NodeTrouble.UNREACHABLE, at=at(3), text="port closed at beacon"
    )
    machine, _ = play([case(UNDER, reboots=("beacon",))], things=[(at(3), note)])

    assert machine.outcome is Outcome.FAIL


@pytest.mark.parametrize("trouble", [NodeTrouble.GARBLED, NodeTrouble.FOREIGN])
def test_what_could_not_be_used_is_a_hint_of_a_failed_check_and_no_excuse(trouble):
    notes = [
        (at(each), NodeNote(node="beacon", trouble=trouble, at=at(each), text=f"odd {each}"))
        for each in (3, 4)
    ]
    machine, events = play([case(UNDER)], things=notes)

    assert machine.outcome is Outcome.FAIL
    assert "2 unusable from beacon, first: odd 3" in kinds(events, CaseEnded)[0].reasons[0]


def test_what_counts_from_another_address_is_no_hint():
    note = NodeNote(node="beacon", trouble=NodeTrouble.ANY_SOURCE, at=at(3), text="it counts")
    machine, events = play([case(UNDER)], things=[(at(3), note)])

    assert machine.outcome is Outcome.FAIL
    assert "unusable" not in kinds(events, CaseEnded)[0].reasons[0]
    assert kinds(events, CaseEnded)[0].unsure == ()


REBOOT = NodeNote(node="beacon", trouble=NodeTrouble.REBOOT, at=at(2), text="boot 6 to 7")


def test_an_unplanned_reboot_fails_a_case_whose_values_were_right():
    machine, events = play([case(OVER)], things=[(at(2), REBOOT)])

    (ended,) = kinds(events, CaseEnded)

    assert machine.outcome is Outcome.FAIL
    assert ended.blamed == ("beacon",)
    assert (
        ended.reasons[0] == "over-pressure: beacon rebooted before 2 ms of the case (boot 6 to 7)"
    )


@pytest.mark.parametrize(
    ("heard", "when"),
    [
        (12, "between 2 ms and 17 ms of the case"),
        (1, "between 9 ms before the case and 17 ms of the case"),
        (None, "before 17 ms of the case"),
    ],
)
def test_a_reboot_lies_between_the_last_word_before_it_and_the_first_after(heard, when):
    since = None if heard is None else at(heard)
    note = NodeNote(
        node="beacon", trouble=NodeTrouble.REBOOT, at=at(27), text="boot 6 to 7", since=since
    )
    first = case(step(wait=ms(10)), title="first", restore=False)
    second = case(step(wait=ms(60)), title="second", restore=False)
    _, events = play([first, second], things=[(at(27), note)])

    assert [f"second: beacon rebooted {when} (boot 6 to 7)"] == list(
        kinds(events, CaseEnded)[1].reasons
    )


def test_after_an_unplanned_reboot_no_further_step_begins():
    _, events = play([case(OVER, OVER)], things=[(at(2), REBOOT)])

    (ended,) = kinds(events, CaseEnded)

    assert "step 2 was not run" in ended.reasons
    assert [begun.step for begun in kinds(events, StepStarted)] == [1]


def test_a_planned_reboot_does_not():
    machine, events = play([case(OVER, reboots=("beacon",))], things=[(at(2), REBOOT)])

    assert machine.outcome is Outcome.PASS
    assert kinds(events, CaseEnded)[0].blamed == ()


def test_a_pass_on_a_later_attempt_is_unstable_and_keeps_both_attempts():
    calls = []

    def sometimes(command, now):
        calls.append(command)
        found = obedient(command, now)
        return found[:1] if len(calls) == 1 else found

    machine, events = play([case(OVER)], answer=sometimes, retries=1)

    assert [event.outcome for event in kinds(events, CaseEnded)] == ["fail", "unstable"]
    assert (machine.outcome, machine.counts["unstable"]) == (Outcome.UNSTABLE, 1)


def test_an_abort_ends_the_case_makes_safe_and_leaves_the_rest_not_run():
    slow = step({"feedline.pressure": "3"}, [is_red(within=ms(60_000))])
    abort = Abort(reason="SIGTERM", at=at(30), patience=ms(1000))
    machine, events = play([case(slow), case(OVER, title="next")], things=[(at(30), abort)])
    (ended,) = kinds(events, CaseEnded)

    assert (ended.outcome, machine.aborted, machine.safe) == ("error", "SIGTERM", True)
    assert machine.counts["not run"] == 1
    assert isinstance(events[-1], RunEnded)


def test_a_node_with_another_identity_stops_the_run_before_anything_more_moves():
    note = NodeNote(node="beacon", trouble=NodeTrouble.IDENTITY, at=at(2), text="serial S-7")
    machine, events = play([case(OVER), case(OVER, title="next")], things=[(at(2), note)])

    assert "beacon is not the node it must be" in machine.aborted
    sent = [e for e in kinds(events, CommandLogged) if e.purpose == "stimulus"]
    assert len({event.token for event in sent}) == 1


def test_a_skipped_case_is_not_run_and_says_why():
    machine, events = play([case(OVER, skip="no lamp on this rack")])

    assert (machine.outcome, machine.counts["skipped"]) == (Outcome.SKIPPED, 1)
    assert kinds(events, CaseEnded)[0].reasons == ("no lamp on this rack",)


def test_without_cases_nothing_was_proven_but_everything_is_made_safe():
    machine, _ = play([])

    assert (machine.outcome, machine.safe) == (Outcome.NOT_RUN, True)


def test_a_command_outside_its_range_is_never_sent():
    tall = step({"feedline.pressure": "11"}, [is_red(within=ms(20))])
    machine, events = play([case(tall)])

    assert machine.outcome is Outcome.FAIL
    assert "11 bar is above 10 bar" in kinds(events, CaseEnded)[0].reasons[0]
    assert not [e for e in kinds(events, CommandLogged) if e.purpose == "stimulus"]


VANE = number(
    "louvres.angle",
    drive=Drive(
        safe=Decimal(0),
        rest=Decimal(0),
        rate=Decimal(100),
        readback="louvres.position",
        readback_tolerance=Decimal(1),
        settle=ms(300),
    ),
)
POSITION = number("louvres.position")


def follows(command, now):
    """The vane is where it was told to be 10 ms later, and says so."""
    seen = sample(0, str(command.value), POSITION.path)
    seen.at = seen.since = Instant(now + ms(10))
    answered = CommandAnswered(token=command.token, at=Instant(now + ms(1)), accepted=True)
    return [(now + ms(1), answered), (now + ms(10), Samples("louvres", [seen]))]


def test_a_rate_limit_holds_the_next_command_back():
    turn = case(
        step({VANE.path: "0"}), step({VANE.path: "50"}), step({VANE.path: "45"}), restore=False
    )
    machine, events = play([turn], follows, signals={VANE.path: VANE, POSITION.path: POSITION})
    sent = [
        e.at for e in kinds(events, CommandLogged) if (e.purpose, e.state) == ("stimulus", "sent")
    ]

    assert machine.outcome is Outcome.PASS
    assert [ms(500), ms(50)] == [sent[1] - sent[0], sent[2] - sent[1]]


def test_safe_is_confirmed_by_the_read_back_and_unconfirmed_without_it():
    def stuck(command, now):
        return follows(command, now)[:1]

    both = {VANE.path: VANE, POSITION.path: POSITION}
    assert play([], follows, signals=both)[0].safe
    machine, events = play([], stuck, signals=both)

    assert not machine.safe
    assert "louvres.position read back nothing" in kinds(events, ActuatorSafe)[0].text


def test_a_safe_command_without_an_answer_is_repeated():
    calls = []

    def deaf_once(command, now):
        calls.append(command.signal)
        return deaf(command, now) if len(calls) == 1 else obedient(command, now)

    assert play([], deaf_once, signals={LAMP.path: LAMP})[0].safe
    assert [LAMP.path, LAMP.path] == calls


def test_the_same_run_gives_the_same_events_every_time():
    runs = [play([case(OVER), case(UNDER, title="b")])[1] for _ in range(3)]

    assert runs[0] == runs[1] == runs[2]
    assert PRESSURE.path in SIGNALS and label() is not None


@pytest.mark.parametrize(("value", "sent"), [("0", 1), ("10", 1), ("-0.01", 0), ("10.01", 0)])
def test_the_range_of_a_command_includes_its_ends(value, sent):
    _, events = play([case(step({"feedline.pressure": value}), restore=False)])
    stimuli = [
        e for e in kinds(events, CommandLogged) if (e.purpose, e.state) == ("stimulus", "sent")
    ]

    assert sent == len(stimuli)


@pytest.mark.parametrize(("shown", "safe"), [("1", True), ("-1", True), ("1.01", False)])
def test_a_read_back_on_its_tolerance_confirms(shown, safe):
    def off_by(command, now):
        found = follows(command, now)
        found[1][1].samples[0].value = Decimal(shown)
        return found

    both = {VANE.path: VANE, POSITION.path: POSITION}

    assert safe == play([], off_by, signals=both)[0].safe


def test_safe_commands_are_repeated_only_so_often():
    calls = []

    def always_deaf(command, now):
        calls.append(command.signal)
        return deaf(command, now)

    assert not play([], always_deaf, signals={LAMP.path: LAMP})[0].safe
    assert len(calls) == 4


def test_a_second_abort_shortens_the_wait_for_read_backs():
    def stuck(command, now):
        return follows(command, now)[:1]

    first = (at(10), Abort(reason="SIGINT", at=at(10), patience=ms(100)))
    second = (at(20), Abort(reason="SIGINT", at=at(20), patience=ms(100)))
    both = {VANE.path: VANE, POSITION.path: POSITION}
    machine, events = play([case(step(wait=ms(5000)))], stuck, [first, second], both)

    assert events[-1].at == ms(120)
    assert not machine.safe
    assert "time ran out" in kinds(events, ActuatorSafe)[0].text


def test_a_value_that_was_not_put_back_is_said_and_judged_inconclusive():
    def will_not_go_back(command, now):
        if command.purpose.value == "restore":
            return [
                (
                    now + ms(1),
                    CommandAnswered(
                        token=command.token, at=Instant(now + ms(1)), accepted=False, detail="no"
                    ),
                )
            ]
        return obedient(command, now)

    machine, events = play([case(OVER)], will_not_go_back)

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert (
        "feedline.pressure was not put back: refused: no" in kinds(events, CaseEnded)[0].reasons[0]
    )
    assert kinds(events, CaseEnded)[0].unsure == ("feedline",)


def test_a_step_without_a_stimulus_begins_with_the_value_that_ended_the_one_before():
    kept = expect(Unchanged(), "beacon.lamp", during=(ms(0), ms(20)))
    machine, _ = play([case(OVER, step(expectations=[kept]))])

    assert machine.outcome is Outcome.PASS
