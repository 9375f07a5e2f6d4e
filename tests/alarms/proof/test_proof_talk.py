"""The machine that holds a dialogue: the laws, rates, repeats, refusals, and the votes."""

from dataclasses import replace
from decimal import Decimal

import pytest
from alarms.proof.proving_ground import gauge_rack, gauge_spec, titled
from core.paper import MARK, PRESSURE, SIGNALS, at, case, deaf, ms, obedient, play
from laws import obey

from hil.alarms.indicator import Cue, Indicator, Labels
from hil.alarms.proof.dialogue import Drive, Pause, Stop, Until
from hil.alarms.proof.panel import Panel
from hil.alarms.proof.prove import proof_case, proof_jobs
from hil.alarms.proof.talk import Talk
from hil.bench.loop import drive
from hil.bench.virtual import VirtualBench
from hil.core.engine import Run
from hil.core.event import CommandLogged
from hil.core.instant import Instant
from hil.core.observation import Samples
from hil.core.plan import Step
from hil.core.signal import Sample, Validity
from hil.core.verdict import Outcome
from hil.nodes.rack import SoftwareRack
from hil.wire.link import Links


class Scripted:
    """A procedure that asks what it is given, and keeps the replies."""

    drives = (PRESSURE.path,)
    watches = ()

    def __init__(self, *requests):
        self.requests, self.replies = requests, []
        self.outcomes, self.reasons, self.blamed = [], [], []
        self.stop = None

    def begin(self, scene, where, index, step, start):
        return Talk(scene, self, start)

    def talk(self, start):
        for request in self.requests:
            self.replies.append((yield request))

    def receive(self, seen):
        pass

    def expects_reboot(self, node):
        return False

    def conclude(self, now, stop):
        self.stop = stop
        self.outcomes = [Outcome.PASS if stop is None else stop.outcome]
        self.reasons = [] if stop is None else [stop.reason]
        return []


def hold(script, answer=obedient, signals=SIGNALS):
    step = Step(stimuli=(), expectations=(), wait=ms(0), mark=MARK, job=script)
    return play([case(step)], answer=answer, signals=signals)


def sent(events) -> list[str]:
    return [
        event.value
        for event in events
        if isinstance(event, CommandLogged) and (event.purpose, event.state) == ("stimulus", "sent")
    ]


def test_requests_are_carried_out_in_order_and_in_time():
    script = Scripted(Drive(PRESSURE.path, Decimal(3)), Pause(at(40)), Until(lambda: False, at(60)))
    hold(script)
    driven, paused, waited = script.replies

    assert (driven.sent, driven.now) == (at(0), at(1))
    assert paused.now == at(40)
    assert (waited.now, waited.met) == (at(60) + 1, False)  # a deadline still counts


def test_what_gets_no_answer_is_sent_again_and_given_up():
    script = Scripted(Drive(PRESSURE.path, Decimal(3), again=2))
    _, events = hold(script, answer=deaf)

    assert len(sent(events)) == 3
    assert script.stop == Stop(
        "driving feedline.pressure was not answered: no answer from feedline within 50 ms",
        Outcome.NOT_RUN,
    )


def test_what_is_refused_is_the_nodes_fault():
    script = Scripted(Drive(PRESSURE.path, PRESSURE.high + 1))
    machine, _ = hold(script)

    assert machine.outcome is Outcome.FAIL
    assert "is above 10 bar" in script.stop.reason


def test_a_rate_limit_is_waited_for():
    slow = replace(PRESSURE, drive=replace(PRESSURE.drive, rate=Decimal(100)))
    script = Scripted(Drive(PRESSURE.path, Decimal(0)), Drive(PRESSURE.path, Decimal(5)))
    hold(script, signals={**SIGNALS, PRESSURE.path: slow})
    first, second = script.replies

    assert second.sent - first.sent == ms(50)  # 5 bar at 100 bar/s


class Recorder(Run):
    """A run that keeps what it is told."""

    def receive(self, seen, now):
        self.__dict__.setdefault("told", []).append((now, seen))
        super().receive(seen, now)


def test_a_proof_obeys_the_laws_of_machines():
    rack = gauge_rack()
    (job,) = [
        job for job in proof_jobs(gauge_spec(), rack.signals(), 1) if titled("high: trip")(job)
    ]

    def make():
        return Recorder(signals=rack.signals(), cases=[proof_case(job, "proof")], start=Instant(0))

    run = make()
    bench = VirtualBench(rack, SoftwareRack(rack, Instant(0)), start=Instant(0))
    drive(run, Links(rack, Instant(0)), bench, lambda event: None, origin=Instant(0))
    told = run.told

    obey(make, told, told[-1][0] + 1_000_000, lambda machine: (machine.outcome, machine.counts))


# --- votes -------------------------------------------------------------------------------------


def seen(**shown: str) -> Samples:
    now = Instant(1)
    return Samples(
        "gauge",
        [
            Sample(f"gauge.{name}", value, Validity.VALID, now, now, raw=b"x")
            for name, value in shown.items()
        ],
    )


@pytest.mark.parametrize(
    ("shown", "vote"),
    [
        ({"lamp": "amber", "tower": "amber", "word": "high"}, {"high"}),
        ({"lamp": "amber", "tower": "red", "word": "high"}, {"high"}),
        ({"lamp": "amber", "tower": "amber"}, {"low", "high"}),
        ({"lamp": "red", "tower": "amber"}, {"lowest", "highest"}),  # the first decides
        ({"lamp": "blue", "tower": "blue", "word": "stale"}, {"stale"}),
        ({"lamp": "off", "tower": "off", "word": "start-up"}, {"start-up"}),
        ({}, set()),
    ],
)
def test_indicators_vote(shown, vote):
    panel = Panel(gauge_spec(), gauge_rack().signals(), {})
    panel.receive(seen(**shown))

    assert panel.voted == vote


def test_a_panel_names_those_who_do_not_agree():
    panel = Panel(gauge_spec(), gauge_rack().signals(), {})
    panel.receive(seen(lamp="amber", tower="red", word="high"))

    assert panel.dissenters("high") == (1,)
    assert panel.seen_on(1) == "gauge.tower red"
    assert not panel.agrees("high")


def test_a_look_that_is_not_judged_may_be_anything():
    spec = gauge_spec()
    free = Indicator(
        signals=("gauge.lamp",),
        how=Labels(wanted={"normal": "green"}, cue=Cue.COLOUR),
        mark=MARK,
        not_judged=("high",),
    )
    panel = Panel(replace(spec, indicators=(free,)), gauge_rack().signals(), {})
    panel.receive(seen(lamp="red"))

    assert panel.agrees("high")
    assert panel.voted == frozenset()  # but it has no vote either
