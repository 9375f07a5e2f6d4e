"""A measure in an expectation: heard from the step's beginning, judged like any other check."""

from dataclasses import replace

import pytest
from core.paper import LAMP, at, case, deaf, is_red, ms, play, sample, step

from hil.core.event import CaseEnded, CheckDecided
from hil.core.expectation import Figure, undecided
from hil.core.instant import Instant
from hil.core.observation import NodeNote, NodeTrouble, Samples
from hil.core.verdict import Outcome


class Count:
    """Counts what it hears before and after the stimulus, for so long; fails beyond a limit."""

    def __init__(self, limit):
        self.limit = limit

    def begin(self, scene, expectation, now):
        return [Counting(self.limit, expectation)]


class Counting:
    signal, before, seen = LAMP, None, 0

    def __init__(self, limit, expectation):
        self.limit, self.expectation = limit, expectation
        self.finding, self.start, self.early = None, None, 0

    def receive(self, seen, now):
        if isinstance(seen, Samples) and self.start is None:
            self.early += 1
        elif isinstance(seen, Samples):
            self.seen += 1

    def stimulated(self, instant):
        self.start = instant

    def tick(self, now):
        if self.finding is None and self.start is not None and now > self.start + ms(40):
            outcome = Outcome.PASS if self.seen <= self.limit else Outcome.FAIL
            got = f"{self.early} before, {self.seen} after"
            figures = (Figure("count", self.seen, self.seen, None, ""),)
            self.finding = replace(
                undecided(self.seen), outcome=outcome, got=got, said=got, figures=figures
            )

    def next_wakeup(self):
        if self.finding is not None or self.start is None:
            return None
        return Instant(self.start + ms(40) + 1)


def measured(limit):
    return replace(is_red(within=ms(40)), measure=Count(limit))


def looks(*times):
    return [(at(when), Samples("beacon", [sample(when, "green", "beacon.lamp")])) for when in times]


def run(limit, **more):
    one = step({"feedline.pressure": "4.8"}, [measured(limit)], wait=ms(20))
    machine, events = play([case(one)], things=looks(5, 10, 30), **more)
    return machine, [event for event in events if isinstance(event, CheckDecided)]


def test_a_meter_hears_what_came_before_the_stimulus_and_is_journalled():
    machine, (check,) = run(5)

    assert machine.outcome is Outcome.PASS
    assert check.got == "2 before, 2 after"  # the lamp reddens once more
    assert check.figures == (("count", 2, 2, None, ""),)
    assert check.text == "over-pressure, step 1: beacon.lamp 2 before, 2 after"


def test_a_meter_that_fails_fails_the_case():
    machine, _ = run(1)

    assert machine.outcome is Outcome.FAIL


def test_an_unconfirmed_stimulus_excuses_a_meter_too():
    machine, (check,) = run(0, answer=deaf)

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert "the stimulus was not confirmed" in check.text


@pytest.mark.parametrize("node", ["beacon"])
def test_a_closed_port_ends_the_wait_for_a_meter(node):
    note = NodeNote(node=node, trouble=NodeTrouble.UNREACHABLE, at=at(25), text="port closed")
    one = step({"feedline.pressure": "4.8"}, [measured(0)], wait=ms(20))
    machine, events = play([case(one)], things=[*looks(5), (at(25), note)])
    (ended,) = [event for event in events if isinstance(event, CaseEnded)]

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert "port closed" in ended.reasons[0]
