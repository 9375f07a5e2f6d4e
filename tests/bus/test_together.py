"""All nodes at once: counted node by node and pair by pair, on the paper rack of the core's tests."""

from dataclasses import replace
from decimal import Decimal

from core.paper import LAMP, PRESSURE, at, case, deaf, label, ms, obedient, play, step

from hil.bus.together import Together
from hil.core.event import CaseEnded, CheckDecided, CommandLogged
from hil.core.observation import Abort, CommandAnswered
from hil.core.signal import Drive
from hil.core.verdict import Outcome

TILE = label("tile.disc", drive=Drive(safe="off", rest="green", actuator=False))
SIGNALS = {each.path: each for each in (PRESSURE, LAMP, TILE)}
VALUES = (("feedline.pressure", Decimal(2)), ("beacon.lamp", "green"), ("tile.disc", "green"))


def together(rounds=5, pairs=0, every=20, values=VALUES, alone=0):
    job = Together(
        values=values,
        rounds=rounds,
        pairs=pairs,
        every=ms(every),
        place="p.yaml:1:1",
        alone=alone,
    )
    return case(replace(step(), job=job), restore=False)


def run(one, answer=obedient, **more):
    machine, events = play([one], answer=answer, signals=SIGNALS, **more)
    checks = {each.node: each for each in events if isinstance(each, CheckDecided)}
    (ended,) = (each for each in events if isinstance(each, CaseEnded))
    return machine, events, checks, ended


def sent_at(events):
    return [
        (each.at, each.signal)
        for each in events
        if isinstance(each, CommandLogged) and each.state == "sent" and each.purpose == "stimulus"
    ]


def never_beside(*pair):
    """Answer but for `pair`: of these two the second is lost where both are asked at one instant."""
    asked = []

    def answer(command, now):
        asked.append((now, command.signal))
        beside = {signal for when, signal in asked if when == now}
        return deaf(command, now) if {*pair} <= beside else obedient(command, now)

    return answer


def test_every_round_asks_everybody_at_one_instant():
    machine, events, checks, _ = run(together(rounds=3))

    assert machine.outcome is Outcome.PASS
    names = [name for name, _ in VALUES]
    assert sent_at(events) == [(at(20 * turn), name) for turn in range(3) for name in names]
    assert {node: check.got for node, check in checks.items()} == {
        "feedline": "3 of 3 answers",
        "beacon": "3 of 3 answers",
        "tile": "3 of 3 answers",
    }


def test_a_round_begins_no_earlier_than_the_one_before_is_decided():
    _, events, _, _ = run(together(rounds=3, every=20), answer=deaf)

    assert sorted({when for when, _ in sent_at(events)}) == [at(0), at(50), at(100)]


def test_pairs_are_asked_alone_after_all_of_them():
    _, events, checks, _ = run(together(rounds=1, pairs=2))

    groups = {}
    for when, name in sent_at(events):
        groups.setdefault(when, []).append(name.split(".")[0])
    assert list(groups.values()) == [
        ["feedline", "beacon", "tile"],
        *2 * [["feedline", "beacon"]],
        *2 * [["feedline", "tile"]],
        *2 * [["beacon", "tile"]],
    ]
    assert checks["tile"].got == "5 of 5 answers"


def test_a_node_that_loses_answers_fails_with_the_bus_as_suspect():
    machine, _, checks, ended = run(together(rounds=4), never_beside("beacon.lamp", "tile.disc"))

    assert machine.outcome is Outcome.FAIL
    assert checks["feedline"].outcome == checks["beacon"].outcome == "pass"
    assert (checks["tile"].outcome, checks["tile"].got) == ("fail", "0 of 4 answers")
    assert (
        "received 0 of 4 answers of tile while others answered too, bus fault suspected"
        in (ended.reasons[0])
    )


def test_the_pair_that_disturbs_each_other_is_named():
    _, _, _, ended = run(together(rounds=1, pairs=3), never_beside("beacon.lamp", "tile.disc"))

    (told,) = (reason for reason in ended.reasons if "beside each other" in reason)
    assert told.endswith("beside each other, beacon 3 of 3 and tile 0 of 3")


def test_who_answers_alone_and_not_beside_others_has_lost_simultaneous_traffic():
    one = together(rounds=4, alone=3)
    _, _, checks, ended = run(one, never_beside("beacon.lamp", "tile.disc"))

    assert checks["tile"].got == "3 of 7 answers"
    assert (
        "received 3 of 7 answers of tile, 3 of 3 alone: bus fault suspected, simultaneous traffic "
        "is lost; first: no answer" in ended.reasons[0]
    )


def test_a_few_lost_answers_need_many_alone_to_tell():
    """One of 40 lost is 2.5 %: of 3 alone all come 93 times in 100, of 150 alone 2 times."""
    for alone, told in ((3, "too few to tell"), (150, "simultaneous traffic is lost")):
        lost = iter([True])

        def answer(command, now, lost=lost):
            first = command.signal == "tile.disc" and next(lost, False)
            return deaf(command, now) if first else obedient(command, now)

        _, _, checks, ended = run(together(rounds=40, alone=alone), answer)

        assert checks["tile"].got == f"{39 + alone} of {40 + alone} answers"
        assert told in ended.reasons[0]


def test_who_loses_answers_alone_too_is_no_suspicion_of_the_bus():
    def no_tile(command, now):
        return deaf(command, now) if command.signal == "tile.disc" else obedient(command, now)

    _, events, _, ended = run(together(rounds=2, alone=3), no_tile)

    (reason,) = ended.reasons
    assert "0 of 5 answers of tile, 0 of 3 alone: it loses answers by itself" in reason
    assert "suspected" not in reason
    assert [name for _, name in sent_at(events)][-3:] == ["tile.disc"] * 3


def test_a_command_that_is_refused_counts_as_unanswered():
    values = (("feedline.pressure", Decimal(99)), ("tile.disc", "green"))

    _, _, checks, _ = run(together(rounds=2, values=values))

    assert checks["feedline"].got == "0 of 2 answers"
    assert checks["tile"].got == "2 of 2 answers"


def test_an_abort_keeps_what_was_counted():
    abort = Abort(reason="SIGINT", at=at(45), patience=ms(10))

    machine, _, checks, ended = run(together(rounds=1000), things=[(at(45), abort)])

    assert machine.aborted == "SIGINT"
    assert checks["tile"].got == "3 of 3 answers"
    assert (checks["tile"].outcome, ended.outcome) == ("pass", "error")
    assert ended.reasons == ("the run ended here: SIGINT",)


def test_an_abort_before_the_first_round_is_decided_is_no_fault_of_a_node():
    abort = Abort(reason="SIGINT", at=at(10), patience=ms(10))

    _, _, checks, ended = run(together(rounds=3), deaf, things=[(at(10), abort)])

    assert {check.outcome for check in checks.values()} == {"inconclusive"}
    assert {check.got for check in checks.values()} == {"0 of 0 answers"}
    assert ended.outcome == "error"


def test_the_pair_that_lost_most_is_named_first():
    """Tile loses half beside the beacon, all beside the feed line; what was lost first is told."""
    asked = []

    def answer(command, now):
        asked.append((now, command.signal))
        beside = {signal for when, signal in asked if when == now}
        odd = len({when for when, _ in asked}) % 2 == 1
        lost = command.signal == "tile.disc" and len(beside) == 2
        lost = lost and ("feedline.pressure" in beside or odd)
        return deaf(command, now) if lost else obedient(command, now)

    _, _, _, ended = run(together(rounds=1, pairs=4), answer)

    told = [reason for reason in ended.reasons if "beside each other" in reason]
    assert [reason.rpartition(", ")[2] for reason in told] == [
        "feedline 4 of 4 and tile 0 of 4",
        "beacon 4 of 4 and tile 2 of 4",
    ]


def test_of_several_reasons_for_lost_answers_the_first_is_told():
    values = (("feedline.pressure", Decimal(2)), ("tile.disc", "green"))
    turns = []

    def answer(command, now):
        if command.signal != "tile.disc":
            return obedient(command, now)
        turns.append(now)
        if len(turns) == 1:
            return deaf(command, now)
        text = f"refused with status {len(turns)}"
        refusal = CommandAnswered(token=command.token, at=now, accepted=False, detail=text)
        return [(now, refusal)]

    _, _, _, ended = run(together(rounds=2, values=values), answer)

    assert "first: no answer" in ended.reasons[0]
