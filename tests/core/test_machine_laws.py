"""The laws of machines for the run and its parts, each on its own.

A run's commands need answers, so a run is played once against a rack of one function, and what it
was fed is then fed again at the same fixed instants: to another one, to one that is woken in
between, to one that is asked too often.
"""

from collections import Counter
from decimal import Decimal

import pytest
from core.paper import (
    OVER_RED,
    PRESSURE,
    SIGNALS,
    at,
    case,
    is_red,
    label,
    ms,
    obedient,
    sample,
    step,
)
from core.test_job import sweep
from hypothesis import given, settings
from hypothesis import strategies as st
from laws import Forward, obey, run

from hil.core.casework import CaseRun
from hil.core.driving import Driving
from hil.core.engine import Run
from hil.core.event import render
from hil.core.instant import Instant
from hil.core.observation import (
    Abort,
    CommandAnswered,
    CommandLost,
    CommandSent,
    HostNote,
    HostTrouble,
    NodeNote,
    NodeTrouble,
    Purpose,
    Samples,
)
from hil.core.placing import Placing
from hil.core.scene import Scene
from hil.core.signal import Drive
from hil.core.step import StepRun

UNTIL = int(at(3_000))
ARM = label("louvres.arm", drive=Drive(safe="off", rest="green", readback="louvres.shown", settle=ms(30)))  # fmt: skip
RACK = SIGNALS | {ARM.path: ARM, "louvres.shown": label("louvres.shown")}
CASES = [
    case(OVER_RED, title="passes"),
    case(step({"feedline.pressure": "3"}, [is_red(within=ms(50))], wait=ms(7)), title="fails"),
    case(OVER_RED, title="waits", precondition=(is_red(within=ms(300)),)),
    case(step({"louvres.arm": "red"}, [is_red(never=ms(20))]), title="moves"),
]


class OnScene:
    """A part of a run on a scene of its own, with the run's duty to keep the scene true."""

    def __init__(self, begin):
        self.scene = Scene(signals=RACK, driving=Driving(RACK, Instant(0)), origin=Instant(0))
        self.part = begin(self.scene)

    def receive(self, seen, now):
        if isinstance(seen, Samples):
            self.scene.latest.take(seen)
        elif isinstance(seen, CommandSent | CommandAnswered | CommandLost):
            self.scene.driving.receive(seen)
        self.part.receive(seen, now)

    def tick(self, now):
        self.part.tick(now)

    def next_wakeup(self):
        return None if self.part.done else self.part.next_wakeup()

    def take_sends(self):
        return self.scene.driving.take_sends()

    def take_events(self):
        events, self.scene.events = self.scene.events, []
        return self.scene.driving.take_events() + events

    @property
    def verdict(self):
        """What it decided, beyond its events."""
        targets = getattr(self.part, "targets", ())
        return [self.part.done, *((each.done, each.failed) for each in targets)]


def whole(retries=0):
    return Run(signals=RACK, cases=CASES, start=Instant(0), retries=retries)


MACHINES = {
    "a run": whole,
    "a run that tries again": lambda: whole(retries=1),
    "a case": lambda: OnScene(lambda scene: CaseRun(scene, CASES[0], 0, 1, Instant(0))),
    "a case with a job": lambda: OnScene(
        lambda scene: CaseRun(scene, case(sweep(5)), 0, 1, Instant(0))
    ),
    "a step": lambda: OnScene(
        lambda scene: StepRun(scene, CASES[1], 0, CASES[1].steps[0], 1, Instant(0))
    ),
    "a job in a step": lambda: OnScene(
        lambda scene: StepRun(scene, CASES[0], 0, sweep(4), 1, Instant(0))
    ),
    "safe placing": lambda: OnScene(
        lambda scene: Placing(
            scene,
            [("louvres.arm", "off"), (PRESSURE.path, Decimal(2))],
            Purpose.SAFE,
            Instant(0),
            at(900),
        )
    ),
    "placing back": lambda: OnScene(
        lambda scene: Placing(scene, [("louvres.arm", "green")], Purpose.RESTORE, Instant(0))
    ),
}


def arm_follows(command, now):
    """Answer as the paper rack does; the arm shows where it is 10 ms later."""
    found = obedient(command, now)
    if command.signal == "louvres.arm":
        when = Instant(now + ms(10))
        found.append((when, Samples("louvres", [sample(when / 1e6, command.value, "louvres.shown")])))  # fmt: skip
    return found


def loses_some(command, now):
    """Lose the second of every three commands, refuse every fifth."""
    if command.token % 3 == 2:
        when = Instant(now + ms(50))
        return [(when, CommandLost(token=command.token, at=when, detail="no answer"))]
    found = arm_follows(command, now)
    if command.token % 5 == 0:
        when, _ = found[0]
        return [(when, CommandAnswered(token=command.token, at=when, accepted=False, detail="no"))]
    return found


def fed(make, answer, others=()):
    """Play once; return all that the machine was fed.  A command leaves 200 µs after it is asked."""
    machine = make()
    queue = [(when, 0, serial, thing) for serial, (when, thing) in enumerate(others)]
    things, now, serial = [], 0, len(queue)
    while True:
        for command in machine.take_sends():
            left = Instant(now + ms(0.2))
            sent = (left, CommandSent(token=command.token, at=left))
            for when, thing in [sent, *answer(command, left)]:
                serial += 1
                queue.append((when, 0, serial, thing))
        queue.sort(key=lambda entry: entry[:3])
        wakeup = machine.next_wakeup()
        if wakeup is None and not queue:
            return things
        if queue and (wakeup is None or queue[0][0] <= wakeup):
            now, _, _, thing = queue.pop(0)
            things.append((now, thing))
            machine.receive(thing, Instant(now))
        else:
            now = max(now, wakeup)
            machine.tick(Instant(now))


class Told:
    """A machine whose events can be looked at more than once."""

    def __init__(self, machine):
        self.machine = machine
        self.events = []

    def __getattr__(self, name):
        return getattr(self.machine, name)

    def told(self):
        self.events += self.machine.take_events()
        return [render(event) for event in self.events], getattr(self.machine, "verdict", None)


def obeys(make, things):
    obey(lambda: Told(make()), things, UNTIL, Told.told)


@pytest.mark.parametrize("answer", [arm_follows, loses_some])
@pytest.mark.parametrize("name", MACHINES)
def test_the_laws_hold_for(name, answer):
    things = fed(MACHINES[name], answer)

    assert things
    obeys(MACHINES[name], things)


instants = st.integers(0, 400).map(at)
oddities = st.one_of(
    st.tuples(instants, st.sampled_from(["red", "green", "stale", None])).map(
        lambda given: (
            given[0],
            Samples("beacon", [sample(given[0] / 1e6, given[1], "beacon.lamp")]),
        )
    ),
    st.tuples(instants, st.sampled_from(NodeTrouble)).map(
        lambda given: (
            given[0],
            NodeNote(node="beacon", trouble=given[1], at=given[0], text="odd"),
        )
    ),
    st.tuples(instants, st.sampled_from(HostTrouble)).map(
        lambda given: (given[0], HostNote(trouble=given[1], at=given[0], amount=1, text="host"))
    ),
    instants.map(lambda when: (when, Abort(reason="stop", at=when, patience=ms(50)))),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(oddities, max_size=6), st.sampled_from([arm_follows, loses_some]))
def test_the_laws_hold_for_a_run_whatever_happens(others, answer):
    things = fed(whole, answer, sorted(others, key=lambda each: each[0]))

    obeys(whole, things)


class Noting:
    """A job that only notes the instants at which it is called, for 50 ms."""

    drives = ()
    watches = ()

    def __init__(self):
        self.calls = []

    def begin(self, scene, where, index, step_number, start):
        self.outcomes, self.reasons = [], []
        self.calls = [start]
        self.end = start + ms(50)
        return self

    @property
    def done(self):
        return self.calls[-1] >= self.end

    def receive(self, seen, now):
        self.calls.append(now)

    tick = break_off = lambda self, now, *_: self.calls.append(now)

    def next_wakeup(self):
        return Instant(self.end)


def test_a_run_hands_its_parts_no_instant_that_goes_back():
    job = Noting()
    noted = step(wait=ms(3))
    object.__setattr__(noted, "job", job)

    def make():
        return Run(signals=RACK, cases=[case(OVER_RED, noted)], start=Instant(0))

    things = fed(make, arm_follows, [(at(count), HostNote(trouble=HostTrouble.CLOCK, at=at(count), amount=1, text="")) for count in range(0, 200, 7)])  # fmt: skip
    run(make(), things, UNTIL, range(0, UNTIL, int(ms(1))))

    assert len(job.calls) > 30
    assert job.calls == sorted(job.calls)


def test_a_caller_whose_clock_goes_back_breaks_the_law():
    machine = Forward(whole())
    machine.tick(at(5))

    with pytest.raises(AssertionError, match="went back from 5000000 to 4000000"):
        machine.tick(at(4))


def test_the_played_run_is_worth_it():
    """The run that the laws are tried on has every outcome but the tool's own faults."""
    things = fed(whole, loses_some)
    machine = whole()
    run(machine, things, UNTIL)
    kinds = Counter(event.kind for event in machine.take_events())

    assert machine.done
    assert kinds["case-ended"] == len(CASES)
    assert kinds["check"] >= 4
    assert {"lost", "refused", "accepted"} <= {
        event.state for event in _events(things) if event.kind == "command"
    }


def _events(things):
    machine = whole()
    run(machine, things, UNTIL)
    return machine.take_events()
