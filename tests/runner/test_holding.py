"""Holding by hand: the rules of a plan, on one node in virtual time."""

import signal
from dataclasses import replace
from decimal import Decimal

import pytest
from laws import obey
from runner.gauge import Gauge, describe
from wall.plain_node import ARM, PRESSURE, REQUEST

from hil.bench.hands import Hands
from hil.bench.loop import drive
from hil.bench.virtual import VirtualBench
from hil.core.error import Mark
from hil.core.event import ActuatorSafe, CaseEnded, CommandLogged, RunEnded
from hil.core.instant import SECOND, Duration, Instant
from hil.core.observation import Abort, NodeNote, NodeTrouble
from hil.core.plan import Stimulus
from hil.runner.attended import Attended
from hil.runner.commanding import read_stimuli
from hil.runner.holding import Hold, Holding, holding_case, shown_by
from hil.runner.session import Session
from hil.runner.set import Held, Wanted
from hil.wire.rack import Envelope


@pytest.fixture
def rack(tmp_path):
    return describe(tmp_path)[0]


def hold(rack, gauge, *words, length=None, abort_at=(), repair=False, stimuli=None):
    """Hold by hand in virtual time; return the session and its events."""
    aborts = list(abort_at)

    def abort(now):
        if aborts and now >= aborts[0]:
            aborts.pop(0)
            return Abort(reason="ended by SIGINT", at=now, patience=Duration(SECOND))
        return None

    bench = VirtualBench(rack, gauge, abort=abort)
    case = holding_case(rack, stimuli or read_stimuli(rack, words), length)
    session = Session(rack, (case,), Instant(0), repair=repair)
    events = []
    looks = []
    attended = Attended(session, Duration(SECOND // 4), Instant(0), looks.append)
    links = Hands(rack, Instant(0))
    drive(attended, links, bench, events.append, origin=Instant(0), record_datagram=lambda *_: 0)
    return session, events, looks


def of(events, kind):
    return [event for event in events if isinstance(event, kind)]


def commands(gauge):
    """Every command that the node was given: (operation, value)."""
    told = [REQUEST.unpack(payload) for payload in gauge.heard if len(payload) == REQUEST.size]
    return [(one[3], one[4]) for one in told if one[3] in (PRESSURE, ARM)]


def test_a_signal_is_driven_held_for_its_time_and_made_safe(rack):
    gauge = Gauge()
    session, events, _ = hold(rack, gauge, "gauge.arm", "45 deg", length=Duration(5 * SECOND))
    (ended,) = of(events, CaseEnded)

    assert session.safe
    assert commands(gauge) == [(ARM, 450), (ARM, 0), (PRESSURE, 200)]
    assert (ended.outcome, gauge.node.arm) == ("pass", 0)
    assert 5 * SECOND <= ended.took < 5.1 * SECOND


def test_it_holds_until_somebody_ends_it(rack):
    gauge = Gauge()
    session, events, _ = hold(rack, gauge, "gauge.arm", "45 deg", abort_at=[60 * SECOND])

    assert session.safe
    assert of(events, RunEnded)[0].aborted == "ended by SIGINT"
    assert of(events, RunEnded)[0].at >= 60 * SECOND
    assert all(event.confirmed for event in of(events, ActuatorSafe))


def test_it_is_looked_at_every_period(rack):
    _, _, looks = hold(rack, Gauge(), "gauge.arm", "45 deg", length=Duration(2 * SECOND))

    assert looks[:3] == [SECOND // 4, SECOND // 2, 3 * SECOND // 4]


def test_a_mute_node_is_moved_nowhere(rack):
    gauge = Gauge(mute=True)
    session, events, _ = hold(rack, gauge, "gauge.arm", "45 deg")

    assert not session.moved
    assert commands(gauge) == []
    assert "nothing was moved" in of(events, RunEnded)[0].aborted


def test_an_arm_that_does_not_come_back_is_not_safe(rack):
    session, events, _ = hold(
        rack, Gauge(stuck=30), "gauge.pressure", "4 bar", length=Duration(SECOND)
    )

    assert not session.safe
    assert [e.signal for e in of(events, ActuatorSafe) if not e.confirmed] == ["gauge.arm"]


def test_an_unclean_end_is_repaired_before_anything_is_driven(rack):
    gauge = Gauge()
    hold(rack, gauge, "gauge.arm", "45 deg", length=Duration(SECOND), repair=True)

    assert commands(gauge)[:3] == [(ARM, 0), (PRESSURE, 200), (ARM, 450)]


@pytest.mark.parametrize("repair", [False, True])
def test_the_rate_limit_of_a_plan_holds_by_hand_too(rack, repair):
    """From 0 deg, where it was seen, 90 deg at 50 deg/s take 1.8 s; being safe takes none."""
    (node,) = rack.nodes
    slow = tuple(
        replace(one, drive=replace(one.drive, rate=Decimal(50))) if one.name == "arm" else one
        for one in node.signals
    )
    rack = replace(rack, nodes=(replace(node, signals=slow),))
    length = Duration(SECOND)
    _, events, _ = hold(rack, Gauge(), "gauge.arm", "90 deg", length=length, repair=repair)
    sent = [(e.value, e.at) for e in of(events, CommandLogged) if e.state == "sent"]
    there = next(at for value, at in sent if value == "90 deg")
    back = next(at for value, at in sent if value == "0 deg" and at > there)

    assert 1.8 * SECOND <= there < 2 * SECOND
    assert back < there + 1.1 * SECOND


def test_the_engine_refuses_a_value_outside_the_range_whoever_wants_it(rack):
    gauge = Gauge()
    beyond = (Stimulus(signal="gauge.arm", value=Decimal(91), mark=Mark("test")),)
    session, events, _ = hold(rack, gauge, stimuli=beyond, length=Duration(SECOND))

    assert (ARM, 910) not in commands(gauge)
    assert of(events, CaseEnded)[0].outcome == "fail"
    assert session.safe


class Rebooting(Gauge):
    """A node that boots anew at an instant, forgets what it was told, and says so."""

    def __init__(self, at):
        super().__init__()
        self._at = at

    def receive(self, envelope, now):
        self._last = envelope
        super().receive(envelope, now)

    def tick(self, now):
        if self._at is not None and now >= self._at:
            self._at = None
            self.node.boots, self.node.arm = self.node.boots + 1, 0
            asker = self._last
            self._sends.append(Envelope(asker.destination, asker.source, self.node.reading()))

    def next_wakeup(self):
        return self._at


def test_a_node_that_reboots_has_forgotten_and_ends_it(rack):
    gauge = Rebooting(Instant(3 * SECOND))
    session, events, _ = hold(rack, gauge, "gauge.arm", "45 deg", abort_at=[30 * SECOND])
    (ended,) = of(events, CaseEnded)

    assert ended.outcome == "fail"
    assert "gauge rebooted" in ended.reasons[0]
    assert 3 * SECOND <= ended.at < 4 * SECOND
    assert (session.safe, of(events, RunEnded)[0].aborted) == (True, "")


def test_what_shows_where_a_signal_is(rack):
    stimuli = read_stimuli(rack, ["gauge.pressure", "4 bar", "gauge.arm", "1 deg"])

    assert shown_by(rack, stimuli) == ("gauge.pressure", "gauge.arm")


def ended(outcome):
    return CaseEnded(
        at=Instant(9), index=0, plan="", case="", outcome=outcome, attempt=1, took=9, reasons=()
    )


@pytest.mark.parametrize(
    ("outcome", "safe", "number", "length", "code"),
    [
        ("pass", True, None, SECOND, 0),
        ("error", True, signal.SIGINT, None, 0),  # Ctrl-C is how an open hold ends
        ("error", True, signal.SIGINT, SECOND, 130),
        ("error", True, signal.SIGTERM, None, 143),
        ("error", False, signal.SIGINT, None, 3),
        ("error", True, None, None, 3),  # another node took its place
        ("fail", True, None, None, 1),
        ("fail", False, None, None, 3),
        ("inconclusive", True, None, None, 3),
        (None, False, None, None, 3),
        (None, False, signal.SIGINT, None, 130),
    ],
)
def test_the_exit_code_of_a_hold(rack, outcome, safe, number, length, code):
    case = None if outcome is None else ended(outcome)
    held = Held(case=case, safe=safe, stopped_by=number)

    assert held.code(Wanted(rack=rack, stimuli=(), length=length)) == code


def test_the_machine_of_holding_obeys_the_laws():
    hold = Hold(watches=(), nodes=("gauge",), length=Duration(5_000))
    reboot = NodeNote(node="gauge", trouble=NodeTrouble.REBOOT, at=Instant(900), text="boot 6")

    for things in ([], [(900, reboot)]):
        obey(
            lambda: Holding(hold, "by hand", Instant(100)),
            things,
            10_000,
            lambda machine: (machine.done, machine.outcomes),
        )
