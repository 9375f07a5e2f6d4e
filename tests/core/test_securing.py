"""Signals that the bench drives by programs: power first, nodes back, failures of the bench."""

from dataclasses import replace

import laws
import pytest
from core.paper import LAMP, PRESSURE, at, case, is_red, label, ms, obedient, play, step

from hil.core.driving import Driving
from hil.core.errand import Halt, Inquiry, ProgramEnded
from hil.core.event import ActuatorSafe, BenchCommand, CaseEnded, CheckDecided, CommandLogged
from hil.core.instant import Instant
from hil.core.observation import (
    Abort,
    Command,
    CommandAnswered,
    CommandLost,
    Confirmed,
    NodeNote,
    NodeTrouble,
    Purpose,
    Unconfirmed,
)
from hil.core.order import Dismiss, Perform
from hil.core.scene import Scene
from hil.core.scripted import Scripted
from hil.core.securing import Securing, make_safe
from hil.core.signal import Drive, Program
from hil.core.verdict import Outcome

PROGRAM = Program(within=ms(2000), restarts=("feedline",), back_within=ms(3000), labels=("run",))
POWER = replace(
    label("feedline.power", drive=Drive(safe="run", rest="run", actuator=False, program=PROGRAM)),
    labels=("run", "restart", "off"),
    sensed=False,
)
IMAGE = replace(
    POWER,
    name="image",
    drive=Drive(safe="", rest="", actuator=False, program=replace(PROGRAM, stays=True)),
)
SIGNALS = {each.path: each for each in (PRESSURE, LAMP, POWER, IMAGE)}


def confirmed(when):
    return Confirmed(node="feedline", at=Instant(when), facts=(), asked=1, took=ms(1))


def bench(fail=(), back=500, took=80, log=None):
    """Programs that end after `took` ms, but for those that fail; the node is back after `back`."""
    state = {"until": 0}

    def answer(wish, now):
        if log is not None:
            log.append(wish)
        if isinstance(wish, Inquiry):
            when = max(now + ms(1), state["until"])
            if when > now + ms(150):
                when = Instant(now + ms(150))
                return [(when, Unconfirmed(node="feedline", at=when, detail="no answer"))]
            return [(when, confirmed(when))]
        if not isinstance(wish, Command):
            return []
        if wish.signal in (POWER.path, IMAGE.path):
            when = Instant(now + ms(took))
            if wish.value in fail:
                lost = CommandLost(token=wish.token, at=when, detail="exit code 3", broken=True)
                return [(when, lost)]
            state["until"] = when + ms(back)
            return [(when, CommandAnswered(token=wish.token, at=when, accepted=True))]
        return obedient(wish, now)

    return answer


def kinds(events, kind):
    return [event for event in events if isinstance(event, kind)]


def commands(events, purpose):
    found = [e for e in kinds(events, CommandLogged) if e.purpose == purpose]
    return [(e.signal, e.value) for e in found if e.state == "sent"]


def test_power_is_put_back_first_and_the_node_is_waited_for():
    cycle = case(step({"feedline.pressure": "4.8"}), step({"feedline.power": "off"}))
    machine, events = play([cycle], answer=bench(), signals=SIGNALS)
    (ended,) = kinds(events, CaseEnded)

    assert machine.outcome is Outcome.PASS
    assert commands(events, "restore") == [
        ("feedline.power", "run"),
        ("feedline.pressure", "2 bar"),
    ]
    assert ended.took >= ms(80 + 80 + 500)


def test_a_node_that_does_not_come_back_leaves_the_case_inconclusive():
    off = case(step({"feedline.power": "off"}))
    machine, events = play([off], answer=bench(back=100_000), signals=SIGNALS)
    (ended,) = kinds(events, CaseEnded)

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert ended.reasons == ("over-pressure: feedline was not heard again within 3 s",)
    assert ended.unsure == ("feedline",)


def test_power_that_the_bench_cannot_put_back_is_no_doubt_about_the_node():
    off = case(step({"feedline.power": "off"}))
    _, events = play([off], answer=bench(fail=("run",)), signals=SIGNALS)
    (ended,) = kinds(events, CaseEnded)

    assert "feedline.power was not put back" in ended.reasons[0]
    assert ended.unsure == ()


def test_a_reboot_by_power_belongs_to_the_case_that_made_it():
    note = NodeNote(node="feedline", trouble=NodeTrouble.REBOOT, at=at(300), text="boot count 2")
    off = case(step({"feedline.power": "off"}), reboots=("feedline",))
    machine, events = play(
        [off, case(step({"feedline.pressure": "3"}), title="next")],
        answer=bench(),
        signals=SIGNALS,
        things=[(at(300), note)],
    )

    assert machine.outcome is Outcome.PASS
    assert [each.outcome for each in kinds(events, CaseEnded)] == ["pass", "pass"]


def test_a_program_that_fails_is_the_bench_s_error_and_no_node_is_asked_to_account():
    power = case(step({"feedline.power": "restart"}, [is_red(within=ms(50))]))
    machine, events = play([power], answer=bench(fail=("restart",)), signals=SIGNALS)
    (ended,) = kinds(events, CaseEnded)

    assert machine.outcome is Outcome.ERROR
    assert ended.reasons[0] == (
        "over-pressure, step 1: the stimulus could not be carried out: exit code 3"
    )
    assert kinds(events, CheckDecided) == []


def test_what_no_case_has_touched_runs_no_program_at_the_end():
    log = []
    machine, _ = play(
        [case(step({"feedline.pressure": "3"}))], answer=bench(log=log), signals=SIGNALS
    )

    assert machine.safe
    assert not [wish for wish in log if isinstance(wish, Command) and wish.signal == POWER.path]


def test_a_run_that_ends_early_switches_the_power_on_before_it_makes_the_rest_safe():
    stop = Abort(reason="SIGINT", at=at(200), patience=ms(10))
    off = case(step({"feedline.power": "off"}), step({}, [is_red(during=(ms(0), ms(5000)))]))
    machine, events = play([off], answer=bench(), signals=SIGNALS, things=[(at(200), stop)])
    safe = kinds(events, ActuatorSafe)

    assert machine.safe
    assert commands(events, "safe") == [
        ("feedline.power", "run"),
        ("beacon.lamp", "off"),
        ("feedline.pressure", "2 bar"),
    ]
    assert [each.confirmed for each in safe] == [True, True, True]


def test_an_abort_ends_the_program_at_work():
    log = []
    stop = Abort(reason="SIGINT", at=at(20), patience=ms(10))
    image = case(step({"feedline.image": "off"}))
    machine, _ = play(
        [image], answer=bench(took=5000, log=log), signals=SIGNALS, things=[(at(20), stop)]
    )

    assert [wish for wish in log if isinstance(wish, Halt)] == [Halt()]
    assert machine.safe


def test_a_program_that_fails_at_the_end_is_tried_again_and_then_told():
    stop = Abort(reason="SIGINT", at=at(200), patience=ms(10))
    off = case(step({"feedline.power": "off"}), step({}, [is_red(during=(ms(0), ms(5000)))]))
    machine, events = play(
        [off], answer=bench(fail=("run",)), signals=SIGNALS, things=[(at(200), stop)]
    )
    safe = {each.signal: each for each in kinds(events, ActuatorSafe)}

    assert not machine.safe
    assert commands(events, "safe").count(("feedline.power", "run")) == 4
    assert safe["feedline.power"].text == "exit code 3"
    assert safe["beacon.lamp"].confirmed


def test_what_stays_is_neither_put_back_nor_made_safe():
    machine, events = play([case(step({"feedline.image": "off"}))], answer=bench(), signals=SIGNALS)

    assert machine.outcome is Outcome.PASS
    assert [signal for signal, _ in commands(events, "restore")] == []
    assert "feedline.image" not in [signal for signal, _ in commands(events, "safe")]


def test_a_case_led_step_by_step_puts_power_back_as_any_other_does():
    led = case(title="led")
    job = Scripted(case=led, watches=(), told=lambda answer: None)
    orders = (
        (at(10), Perform(step=step({"feedline.image": "off"}))),
        (at(200), Perform(step=step({"feedline.pressure": "4.8", "feedline.power": "off"}))),
        (at(400), Dismiss()),
    )
    machine, events = play(
        [replace(led, steps=(replace(step(), job=job),), restore=False)],
        answer=bench(back=100_000),
        signals=SIGNALS,
        things=orders,
    )
    (ended,) = kinds(events, CaseEnded)

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert ended.reasons == ("led: feedline was not heard again within 3 s",)
    assert commands(events, "restore") == [
        ("feedline.power", "run"),
        ("feedline.pressure", "2 bar"),
    ]


def test_the_end_of_a_program_is_a_line_of_the_journal():
    ended = ProgramEnded(
        signal="feedline.power",
        value="off",
        at=at(40),
        argv=("./outlet", "off"),
        how="exit code 0",
        code=0,
        took=ms(35),
        size=3,
        head="ok\n",
        tail="",
    )
    _, events = play(
        [case(step({"feedline.power": "off"}))],
        answer=bench(),
        signals=SIGNALS,
        things=[(at(40), ended)],
    )
    (told,) = kinds(events, BenchCommand)

    assert (told.argv, told.code, told.took, told.at) == (("./outlet", "off"), 0, ms(35), at(40))


class Alone:
    """Securing by itself, after the power was switched off."""

    def __init__(self):
        driving = Driving(SIGNALS, Instant(0))
        self.scene = Scene(signals=SIGNALS, driving=driving, origin=Instant(0))
        driving.send("feedline.power", "off", Purpose.STIMULUS)
        driving.take_sends()
        self.securing = make_safe(self.scene, Instant(0), ms(10_000))

    def receive(self, seen, now):
        if isinstance(seen, (CommandAnswered, CommandLost)):
            self.scene.driving.receive(seen)
        self.securing.receive(seen, now)

    def tick(self, now):
        self.securing.tick(now)

    def next_wakeup(self):
        return self.securing.next_wakeup()

    def take_sends(self):
        return self.scene.driving.take_sends()


def accepted(when, token):
    return at(when), CommandAnswered(token=token, at=at(when), accepted=True)


@pytest.mark.parametrize(
    "things",
    [
        [],
        [accepted(100, 2)],
        [accepted(100, 2), (at(200), confirmed(at(200)))],
        [accepted(100, 2), (at(200), confirmed(at(200))), accepted(210, 3), accepted(220, 4)],
        [
            accepted(100, 2),
            (at(150), Unconfirmed(node="feedline", at=at(150), detail="no answer")),
            (at(400), confirmed(at(400))),
        ],
        [(at(100), CommandLost(token=2, at=at(100), detail="exit code 1", broken=True))],
    ],
)
def test_securing_keeps_the_laws_of_machines(things):
    laws.obey(
        Alone,
        things,
        at(30_000),
        lambda machine: (
            machine.securing.done,
            machine.securing.missing,
            [(each.signal.path, each.done, each.failed) for each in machine.securing.targets],
        ),
    )


def test_without_a_program_it_places_and_nothing_more():
    driving = Driving(SIGNALS, Instant(0))
    scene = Scene(signals=SIGNALS, driving=driving, origin=Instant(0))
    securing = Securing(scene, [("beacon.lamp", "off")], Purpose.SAFE, Instant(0))
    (command,) = driving.take_sends()
    answer = CommandAnswered(token=command.token, at=at(1), accepted=True)
    driving.receive(answer)
    securing.receive(answer, at(1))

    assert securing.done
    assert driving.take_sends() == ()
