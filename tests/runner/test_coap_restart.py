"""A CoAP node that restarts while a case waits for it, and then tells only those who subscribed.

Somebody else restarts the node, and changes what it measures later on.  The tool's subscription is
gone with the restart; whoever only waited for the change would see nothing until the deadline
(vsomeip #375, #324: services restart, clients do not renew).  Whole sessions in virtual time.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from hil.bench.loop import drive
from hil.bench.virtual import VirtualBench
from hil.core.event import CaseEnded, CheckDecided, NodeNoted, RunEnded
from hil.core.instant import SECOND, Instant
from hil.files.read import read_plan, read_rack
from hil.nodes.rack import SoftwareRack
from hil.runner.session import Session
from hil.wire.coap.code import Code
from hil.wire.coap.message import Message, Type, encode
from hil.wire.coap.option import Option
from hil.wire.link import Links
from hil.wire.rack import Address, Envelope

WHOLE = read_rack(Path(__file__).parents[2] / "fixtures" / "propagator.yaml")
RACK = replace(WHOLE, nodes=WHOLE.nodes[:1], depends={})
BED = RACK.nodes[0]
SOMEBODY = Address("127.0.0.1", 50_000)
RESTARTED, CHANGED = 4 * SECOND, 7 * SECOND

PLAN = """\
plan: Restart
cases:
  - case: the soil gets warm{reboots}
    steps:
      - stimulus: {{bed.mode: automatic}}
        expect: [{{signal: bed.soil, above: 29 degC, within: {within}}}]
"""


class Meddled:
    """The software rack, with somebody who does things to it at their times."""

    def __init__(self, deeds):
        self._rack = SoftwareRack(RACK, Instant(0))
        self._deeds = sorted(deeds)

    def receive(self, envelope, now):
        self._rack.receive(envelope, now)

    def tick(self, now):
        self._rack.tick(now)
        while self._deeds and self._deeds[0][0] <= now:
            _, path, text = self._deeds.pop(0)
            self._rack.receive(Envelope(SOMEBODY, BED.address, put(path, text)), now)

    def next_wakeup(self):
        own = self._rack.next_wakeup()
        due = [Instant(at) for at, _, _ in self._deeds[:1]]
        return min([*due, *([] if own is None else [own])], default=None)

    def take_sends(self):
        return tuple(each for each in self._rack.take_sends() if each.destination != SOMEBODY)


def put(path, text):
    options = tuple((Option.URI_PATH, part.encode()) for part in path.split("/"))
    return encode(Message(Type.NON_CONFIRMABLE, Code.PUT, 0x7000, b"", options, text.encode()))


def sit(tmp_path, deeds, *, within="10 s", reboots=""):
    """Run the case against a rack to which these deeds are done; return the events."""
    (tmp_path / "plan.yaml").write_text(PLAN.format(within=within, reboots=reboots))
    bench = VirtualBench(RACK, Meddled(deeds))
    session = Session(RACK, read_plan(tmp_path / "plan.yaml", RACK).cases, Instant(0))
    events = []
    drive(session, Links(RACK, Instant(0)), bench, events.append, origin=Instant(0))
    return events


def of(events, kind):
    return [event for event in events if isinstance(event, kind)]


RESTART = (RESTARTED, "inject/power", "restart")
WARM = (CHANGED, "inject/soil", "30 C")


def test_the_subscription_is_renewed_and_the_change_seen(tmp_path):
    events = sit(tmp_path, [RESTART, WARM], reboots="\n    reboots: [bed]")
    check = of(events, CheckDecided)[-1]
    notes = [note for note in of(events, NodeNoted) if note.at > RESTARTED]

    assert [case.outcome for case in of(events, CaseEnded)] == ["pass"]
    assert CHANGED <= check.at < CHANGED + SECOND // 2
    assert any(note.trouble == "reboot" and note.at < RESTARTED + 2 * SECOND for note in notes)
    assert of(events, RunEnded)[0].safe


def test_a_restart_that_nobody_expects_fails_the_case_although_the_change_was_seen(tmp_path):
    (case,) = of(sit(tmp_path, [RESTART, WARM]), CaseEnded)

    assert case.outcome == "fail"
    assert "bed rebooted" in "; ".join(case.reasons)


def test_without_the_restart_the_same_is_seen(tmp_path):
    events = sit(tmp_path, [WARM])

    assert [case.outcome for case in of(events, CaseEnded)] == ["pass"]


@pytest.mark.parametrize("deeds", [[RESTART], []])
def test_a_change_that_never_comes_still_fails(tmp_path, deeds):
    (case,) = of(sit(tmp_path, deeds, reboots="\n    reboots: [bed]"), CaseEnded)

    assert case.outcome == "fail"
