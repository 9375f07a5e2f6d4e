"""Steps that ask a person: what counts as an answer, when, and whose fault the rest is."""

from dataclasses import replace

import pytest
from core.paper import (
    MARK,
    at,
    case,
    deaf,
    expect,
    is_red,
    limits,
    ms,
    obedient,
    play,
    sample,
    step,
)

from hil.core.errand import Prompt, Replied, Reply, Unmanned, Withdrawn
from hil.core.event import CaseEnded, CommandLogged, OperatorAnswered, OperatorAsked
from hil.core.instant import Instant
from hil.core.observation import Abort, Command, Samples
from hil.core.plan import Ask
from hil.core.verdict import Outcome

LOOK = Ask(act=False, text="is the lamp red?", within=ms(1000), mark=MARK)
ACT = Ask(act=True, text="open the valve", within=ms(1000), mark=MARK)


def asked(ask, stimuli=None, expectations=(), wait=0):
    return replace(step(stimuli, expectations, wait=ms(wait)), ask=ask)


def person(reply, after):
    """Answer a question after so many ms; obey commands."""

    def answer(wish, now):
        if isinstance(wish, Prompt):
            when = Instant(now + ms(after))
            return [(when, Replied(token=wish.token, at=when, reply=reply))]
        return obedient(wish, now) if isinstance(wish, Command) else []

    return answer


def nobody(wish, now):
    return obedient(wish, now) if isinstance(wish, Command) else []


def kinds(events, kind):
    return [event for event in events if isinstance(event, kind)]


def pressures(*values):
    """The pressure at moments in ms."""
    return [(at(when), Samples("feedline", [sample(when, value)])) for when, value in values]


@pytest.mark.parametrize(
    ("reply", "wanted", "outcome"),
    [
        (Reply.YES, "yes", Outcome.PASS),
        (Reply.NO, "yes", Outcome.FAIL),
        (Reply.YES, "no", Outcome.FAIL),
        (Reply.NO, "no", Outcome.PASS),
        (Reply.UNSURE, "yes", Outcome.INCONCLUSIVE),
    ],
)
def test_a_look_is_judged_by_its_answer(reply, wanted, outcome):
    look = replace(LOOK, wanted=wanted)
    machine, events = play([case(asked(look))], answer=person(reply, 400))
    (answered,) = kinds(events, OperatorAnswered)

    assert machine.outcome is outcome
    assert (answered.answer, answered.by, answered.took) == (reply.value, "person", ms(400))
    assert kinds(events, OperatorAsked)[0].within == ms(1000)


def test_a_look_comes_after_the_stimulus_of_its_step_and_blames_its_node():
    machine, events = play(
        [case(asked(LOOK, {"feedline.pressure": "4.8"}))], answer=person(Reply.NO, 10)
    )
    (ended,) = kinds(events, CaseEnded)
    order = [type(event) for event in events if isinstance(event, CommandLogged | OperatorAsked)]

    assert machine.outcome is Outcome.FAIL
    assert order[:3] == [CommandLogged, CommandLogged, OperatorAsked]
    assert ended.reasons[0] == (
        "over-pressure, step 1: the operator answered no to: is the lamp red?"
    )
    assert ended.blamed == ("feedline",)


def test_a_lost_stimulus_leaves_nothing_to_look_at():
    look = asked(LOOK, {"feedline.pressure": "4.8"})
    machine, events = play([case(look, restore=False)], answer=deaf)

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert kinds(events, OperatorAsked) == []
    assert kinds(events, CaseEnded)[0].unsure == ("feedline",)


@pytest.mark.parametrize(("after", "outcome"), [(1000, Outcome.PASS), (1000.001, None)])
def test_an_answer_counts_up_to_the_deadline_itself(after, outcome):
    machine, events = play([case(asked(LOOK))], answer=person(Reply.YES, after))

    assert machine.outcome is (outcome or Outcome.INCONCLUSIVE)
    if outcome is None:
        assert kinds(events, CaseEnded)[0].reasons[0] == (
            "over-pressure, step 1: nobody answered within 1 s: is the lamp red?"
        )
        assert kinds(events, OperatorAnswered)[0].by == "nobody"


def test_times_of_an_action_count_from_the_word_and_trust_what_is_in_force():
    high = expect(limits("4", None), within=ms(100))
    things = pressures((0, "2"), (300, "4.8"))
    low_before = play(
        [case(asked(ACT, None, [high, is_red(within=ms(50))]))],
        answer=person(Reply.YES, 500),
        things=[
            *things,
            (at(520), Samples("beacon", [sample(520, "red", "beacon.lamp")])),
        ],
    )

    assert low_before[0].outcome is Outcome.PASS
    assert kinds(low_before[1], OperatorAnswered)[0].answer == "yes"


def test_a_node_that_does_not_show_what_was_done_fails():
    high = expect(limits("4", None), within=ms(100))
    machine, events = play(
        [case(asked(ACT, None, [high]))],
        answer=person(Reply.YES, 500),
        things=pressures((0, "2"), (550, "2.1")),
    )
    (ended,) = kinds(events, CaseEnded)

    assert machine.outcome is Outcome.FAIL
    assert ended.reasons[0].endswith("at the deadline, 100 ms after it was done")


@pytest.mark.parametrize(
    ("reply", "why"),
    [
        (Reply.NO, "the operator could not do it: open the valve"),
        (Reply.UNSURE, "the operator cannot tell: open the valve"),
    ],
)
def test_an_action_that_was_not_done_says_nothing_about_the_node(reply, why):
    high = expect(limits("4", None), within=ms(100))
    machine, events = play([case(asked(ACT, None, [high]))], answer=person(reply, 5))

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert kinds(events, CaseEnded)[0].reasons[0] == f"over-pressure, step 1: {why}"


def test_an_effect_that_is_seen_needs_no_word():
    high = expect(limits("4", None), within=ms(100), hold=ms(50))
    machine, events = play(
        [case(asked(ACT, None, [high], wait=10))],
        answer=nobody,
        things=pressures((0, "2"), (300, "2.2"), (320, "4.8"), (400, "4.9")),
    )
    (answered,) = kinds(events, OperatorAnswered)

    assert machine.outcome is Outcome.PASS
    assert (answered.answer, answered.by, answered.at) == ("seen", "nobody", at(320))


@pytest.mark.parametrize(
    ("first", "more"),
    [
        ("4.5", {"within": ms(100)}),  # fulfilled already: it proves no action
        (None, {"within": ms(100)}),  # unknown before
        ("2", {"during": (ms(0), ms(50))}),
        ("2", {"never": ms(50)}),
    ],
)
def test_what_proves_no_action_waits_for_the_word(first, more):
    high = expect(limits("4", None), **more)
    known = [] if first is None else pressures((0, first))
    machine, events = play(
        [case(asked(ACT, None, [high], wait=10))],
        answer=nobody,
        things=[*known, *pressures((300, "4.8"))],
    )

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert kinds(events, OperatorAnswered)[0].answer == "nothing"


def test_a_bench_that_acts_instead_is_judged_as_any_step():
    by = replace(ACT, by="feedline.pressure 4.8 bar")
    one = asked(by, {"feedline.pressure": "4.8"}, [is_red(within=ms(50))])
    machine, events = play([case(one)], answer=nobody)
    (told,) = kinds(events, OperatorAsked)
    (answered,) = kinds(events, OperatorAnswered)
    restored = [e for e in kinds(events, CommandLogged) if e.purpose == "restore"]

    assert machine.outcome is Outcome.PASS
    assert told.stand_in == "feedline.pressure 4.8 bar"
    assert (answered.answer, answered.by) == ("yes", "bench")
    assert restored


@pytest.mark.parametrize(
    ("wanted", "colour", "answer", "outcome"),
    [
        ("yes", "red", "yes", Outcome.PASS),
        ("yes", "green", "no", Outcome.FAIL),
    ],
)
def test_a_bench_that_looks_instead_answers_by_what_it_sees(wanted, colour, answer, outcome):
    by = replace(LOOK, by="beacon.lamp red", wanted=wanted)
    one = asked(by, None, [is_red(within=ms(50))], wait=10)
    seen = [(at(t), Samples("beacon", [sample(t, colour, "beacon.lamp")])) for t in (0, 20, 40, 60)]
    machine, events = play([case(one)], answer=nobody, things=seen)

    assert machine.outcome is outcome
    assert kinds(events, OperatorAnswered)[0].answer == answer


def test_where_nobody_can_be_asked_the_case_is_inconclusive_at_once():
    def gone(wish, now):
        if isinstance(wish, Prompt):
            return [(now, Unmanned(at=now, text="the terminal is gone"))]
        return nobody(wish, now)

    machine, events = play([case(asked(LOOK))], answer=gone)
    (ended,) = kinds(events, CaseEnded)

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert "nobody can answer, the terminal is gone: is the lamp red?" in ended.reasons[0]
    assert ended.took == 0


def test_an_abort_takes_the_question_back():
    withdrawn = []

    def watching(wish, now):
        if isinstance(wish, Withdrawn):
            withdrawn.append(wish)
        return nobody(wish, now)

    stop = Abort(reason="SIGINT", at=at(60), patience=ms(10))
    machine, events = play([case(asked(LOOK))], answer=watching, things=[(at(60), stop)])

    assert machine.outcome is Outcome.ERROR
    assert [each.outcome for each in withdrawn] == ["nothing"]
    assert kinds(events, OperatorAnswered)[0].by == "nobody"


def test_a_late_answer_to_a_question_before_is_no_answer_to_the_next():
    late = []

    def slow(wish, now):
        if isinstance(wish, Prompt) and not late:
            late.append(wish.token)
            when = Instant(now + ms(1500))
            return [(when, Replied(token=wish.token, at=when, reply=Reply.YES))]
        return nobody(wish, now)

    machine, events = play([case(asked(LOOK)), case(asked(LOOK), title="again")], answer=slow)

    assert [each.answer for each in kinds(events, OperatorAnswered)] == ["nothing", "nothing"]
    assert machine.counts["inconclusive"] == 2
