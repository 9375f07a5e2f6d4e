"""The laws of machines, for a step that asks a person."""

import laws
import pytest
from core.paper import SIGNALS, at, case, expect, limits, ms, sample
from core.test_asking import ACT, LOOK, asked, pressures

from hil.core.asking import AskedStep
from hil.core.driving import Driving
from hil.core.errand import Prompt, Replied, Reply, Unmanned, Withdrawn
from hil.core.instant import Instant
from hil.core.observation import Samples
from hil.core.scene import Latest, Scene


class Alone:
    """An asked step by itself: what it wishes is what it sends."""

    def __init__(self, ask, expectations=()):
        driving = Driving(SIGNALS, Instant(0))
        self.scene = Scene(signals=SIGNALS, driving=driving, origin=Instant(0), latest=Latest({}))
        self.scene.latest.take(Samples("feedline", [sample(0, "2")]))
        self.step = AskedStep(
            self.scene, case(), 0, asked(ask, None, expectations, wait=10), 1, Instant(0)
        )

    def receive(self, seen, now):
        if isinstance(seen, Samples):
            self.scene.latest.take(seen)
        self.step.receive(seen, now)

    def tick(self, now):
        self.step.tick(now)

    def next_wakeup(self):
        return None if self.step.done else self.step.next_wakeup()

    def take_sends(self):
        return self.scene.driving.take_sends()


@pytest.mark.parametrize("ask", [LOOK, ACT])
@pytest.mark.parametrize(
    "things",
    [
        [],
        [(at(300), Replied(token=1, at=at(300), reply=Reply.YES))],
        [(at(300), Replied(token=9, at=at(300), reply=Reply.YES))],
        [(at(1010), Replied(token=1, at=at(1010), reply=Reply.NO))],
        [(at(1011), Replied(token=1, at=at(1011), reply=Reply.YES))],
        pressures((300, "4.8"), (350, "4.9")),
        [(at(5), Unmanned(at=at(5), text="gone")), (at(50), Unmanned(at=at(50), text="gone"))],
    ],
)
def test_an_asked_step_keeps_the_laws_of_machines(ask, things):
    high = [expect(limits("4", None), within=ms(100), hold=ms(30))] if ask.act else []
    laws.obey(
        lambda: Alone(ask, high),
        things,
        at(1500),
        lambda machine: (machine.step.done, machine.step.outcomes, machine.step.reasons),
    )


def test_a_question_is_asked_once_and_taken_back_once():
    alone = Alone(LOOK)
    sent = laws.run(alone, [(at(50), Replied(token=1, at=at(50), reply=Reply.YES))], at(2000))

    assert [type(each) for each in sent] == [Prompt, Withdrawn]
