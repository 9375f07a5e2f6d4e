"""A case drives nothing before every node that it uses is known to be the one it must be."""

import pytest
from core.paper import SIGNALS, at, case, expect, is_red, ms, obedient, step
from laws import Forward

from hil.core.engine import Run
from hil.core.errand import Inquiry
from hil.core.event import (
    ActuatorSafe,
    CaseEnded,
    NodeConfirmed,
    RunEnded,
    StepStarted,
)
from hil.core.instant import Instant
from hil.core.observation import (
    Abort,
    Command,
    CommandSent,
    Confirmed,
    NodeNote,
    NodeTrouble,
    Purpose,
    Unconfirmed,
)
from hil.core.plan import OneOf
from hil.core.verdict import Outcome

OVER = step({"feedline.pressure": "4.8"}, [is_red(within=ms(50))])
NODES = ("feedline", "beacon")
ANSWERS = ms(2)


def confirm(node, now):
    facts = (("number", "1"), ("serial", "S-0042"))
    return Confirmed(node=node, at=now, facts=facts, asked=1, took=ANSWERS)


def unconfirmed(node, now):
    return Unconfirmed(node=node, at=now, detail="no reading within 3 s")


def conflict(node, now):
    return note(node, NodeTrouble.IDENTITY, "serial is S-0077, wanted S-0042", now)


def swapped(node, now):
    """Say that another board is in the feedline's place, and nothing odd of others."""
    return conflict(node, now) if node == "feedline" else confirm(node, now)


def note(node, trouble, text, now, since=None):
    return NodeNote(node=node, trouble=trouble, at=now, text=text, since=since)


def play(cases, who=lambda node, now: confirm(node, now), things=()):
    """Run cases; `who` says what comes of a question 2 ms later; return run, events, sends."""
    machine = Forward(
        Run(signals=SIGNALS, cases=cases, start=Instant(0), confirm=lambda case: NODES)
    )
    queue = [(when, n, thing) for n, (when, thing) in enumerate(things)]
    events, sent, now = [], [], 0
    for turn in range(10_000):
        for wish in machine.take_sends():
            sent.append((now, wish))
            if isinstance(wish, Inquiry):
                when = Instant(now + ANSWERS)
                queue.append((when, 100 + turn, who(wish.node, when)))
                continue
            machine.receive(CommandSent(token=wish.token, at=Instant(now)), Instant(now))
            queue += [(w, 200 + turn, thing) for w, thing in obedient(wish, Instant(now))]
        events += machine.take_events()
        if machine.done:
            return machine, events, sent
        queue.sort(key=lambda entry: entry[:2])
        wakeup = machine.next_wakeup()
        if queue and (wakeup is None or queue[0][0] <= wakeup):
            now, _, thing = queue.pop(0)
            machine.receive(thing, Instant(now))
        else:
            now = max(now, wakeup)
            machine.tick(Instant(now))
    raise AssertionError("the run does not end")


def kinds(events, kind):
    return [event for event in events if isinstance(event, kind)]


def commands(sent, purpose=Purpose.STIMULUS):
    return [w.signal for _, w in sent if isinstance(w, Command) and w.purpose is purpose]


def test_every_node_of_a_case_is_asked_for_before_its_first_stimulus():
    machine, events, sent = play([case(OVER), case(OVER, title="again")])
    order = [w.node if isinstance(w, Inquiry) else w.purpose.value for _, w in sent]

    assert machine.outcome is Outcome.PASS
    assert order[:4] == ["feedline", "beacon", "stimulus", "restore"]
    assert order[4:8] == ["feedline", "beacon", "stimulus", "restore"]
    assert [event.node for event in kinds(events, NodeConfirmed)] == [*NODES, *NODES]
    assert kinds(events, StepStarted)[0].at == ANSWERS


def test_what_a_node_told_is_journalled():
    _, events, _ = play([case(OVER)])
    first = kinds(events, NodeConfirmed)[0]

    assert (first.why, first.facts, first.asked, first.took) == (
        "case",
        (("number", "1"), ("serial", "S-0042")),
        1,
        ANSWERS,
    )


def test_a_node_of_which_nobody_knows_leaves_the_case_inconclusive_and_undriven():
    _, events, sent = play(
        [case(OVER), case(OVER, title="next")],
        lambda node, now: unconfirmed(node, now) if now < ms(4) else confirm(node, now),
    )
    first, second = kinds(events, CaseEnded)

    assert (first.outcome, second.outcome) == ("inconclusive", "pass")
    assert first.reasons[0] == (
        "over-pressure: nobody knows who is at the address of feedline: no reading within 3 s; "
        "nothing was driven"
    )
    assert (first.unsure, second.unsure) == (NODES, ())
    assert commands(sent) == ["feedline.pressure"]


def test_another_node_stops_the_run_before_anything_moves_in_the_case():
    machine, events, sent = play([case(OVER), case(OVER, title="next")], swapped)
    (ended,) = kinds(events, CaseEnded)

    assert commands(sent) == []
    assert (ended.outcome, machine.safe) == ("error", False)
    assert machine.aborted.startswith("feedline is not the node it must be: serial is S-0077")
    assert machine.counts["not run"] == 1


def test_what_took_a_nodes_place_gets_nothing_and_the_rest_is_made_safe():
    _, events, sent = play([case(OVER)], swapped)
    safe = {event.signal: event for event in kinds(events, ActuatorSafe)}

    assert commands(sent, Purpose.SAFE) == ["beacon.lamp"]
    assert (safe["beacon.lamp"].confirmed, safe["feedline.pressure"].confirmed) == (True, False)
    assert safe["feedline.pressure"].text.endswith(
        "nothing more was sent to feedline, which is not the node it must be: "
        "serial is S-0077, wanted S-0042"
    )
    assert not kinds(events, RunEnded)[0].safe


@pytest.mark.parametrize("when", [1, 3, 4, 7])
def test_a_conflict_at_any_moment_sends_nothing_more_to_that_node(when):
    # 3 ms: the stimulus is under way; 4 and 7 ms: restoring
    things = [(at(when), conflict("feedline", at(when)))]
    machine, _, sent = play([case(OVER)], things=things)
    later = [w.signal for t, w in sent if isinstance(w, Command) and t >= ms(when)]

    assert "feedline.pressure" not in later
    assert "beacon.lamp" in later
    assert not machine.safe


def test_a_conflict_while_everything_is_made_safe_leaves_the_rack_unsafe():
    calm = case(step({}, [expect(OneOf(values=("green",)), "beacon.lamp", within=ms(0))]))
    things = [(at(2.5), conflict("feedline", at(2.5)))]
    machine, _, _ = play([calm], things=things)

    assert (machine.done, machine.safe) == (True, False)
    assert "feedline" in machine.aborted


def test_a_reboot_before_the_node_was_asked_for_is_told_and_fails_nothing():
    reboot = note("feedline", NodeTrouble.REBOOT, "boot count 2, was 1", at(1), at(-40))
    _, events, _ = play([case(OVER)], things=[(at(1), reboot)])
    (ended,) = kinds(events, CaseEnded)

    assert ended.outcome == "pass"
    assert ended.reasons == ("feedline rebooted before the case began (boot count 2, was 1)",)


def test_a_reboot_in_the_case_fails_it_although_every_value_is_right():
    reboot = note("feedline", NodeTrouble.REBOOT, "boot count 2, was 1", at(5), at(2))
    _, events, _ = play([case(OVER)], things=[(at(5), reboot)])
    (ended,) = kinds(events, CaseEnded)

    assert (ended.outcome, ended.blamed) == ("fail", ("feedline",))
    assert ended.reasons[0] == (
        "over-pressure: feedline rebooted between 2 ms and 5 ms of the case (boot count 2, was 1)"
    )


def test_an_abort_while_a_node_is_asked_for_ends_the_case():
    stop = Abort(reason="ended by SIGTERM", at=at(1), patience=ms(1000))
    machine, events, sent = play([case(OVER)], things=[(at(1), stop)])

    assert commands(sent) == []
    assert (kinds(events, CaseEnded)[0].outcome, machine.safe) == ("error", True)
