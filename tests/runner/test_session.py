"""A session: nobody moves before the roll call is over, an unclean end is repaired first."""

import dataclasses

import pytest
from laws import obey
from runner.gauge import Gauge, describe, sit

from hil.core.event import ActuatorSafe, CaseStarted, CommandLogged, HostNoted, NodeNoted, RunEnded
from hil.core.instant import MILLISECOND, ZERO, Duration, Instant
from hil.core.observation import Abort, NodeNote, NodeTrouble, Samples
from hil.core.signal import Sample, Validity
from hil.runner.roll_call import GRACE, LIMIT, RollCall
from hil.runner.session import Session


@pytest.fixture
def described(tmp_path):
    return describe(tmp_path)


def of(events, kind):
    return [event for event in events if isinstance(event, kind)]


def reading(at, lamp="green", arm=None):
    return Samples("gauge", [Sample("gauge.lamp", lamp, Validity.VALID, Instant(at), Instant(at))])


def test_a_session_runs_its_cases_and_ends_safe(described):
    session, events = sit(*described, Gauge())

    assert session.safe
    assert [e.outcome for e in events if e.kind == "case-ended"] == ["pass", "pass"]
    assert len(of(events, RunEnded)) == 1


def test_what_was_seen_in_the_roll_call_counts_for_a_precondition(described):
    """This node speaks only when spoken to: no reading comes after the roll call's."""
    _, events = sit(*described, Gauge())

    precondition = next(e for e in events if e.kind == "check" and e.step == 0)
    assert (precondition.outcome, precondition.got) == ("pass", "green")


def test_instants_count_from_the_roll_call(described):
    _, events = sit(*described, Gauge())
    instants = [event.at for event in events]

    assert instants[0] >= 0
    assert instants == sorted(instants)


def test_a_mute_node_ends_the_session_before_anything_moves(described):
    gauge = Gauge(mute=True)
    session, events = sit(*described, gauge)

    assert not session.moved
    assert not of(events, CommandLogged) + of(events, CaseStarted)
    assert {9} == {payload[4] for payload in gauge.heard}  # asked to be kept informed, no more
    assert of(events, NodeNoted)[-1].node == "gauge"
    assert of(events, RunEnded)[-1].aborted.startswith(
        "nothing was moved, not every node is ready: gauge: no reading from 127.0.0.1:47123"
    )


def test_an_impostor_ends_the_session_before_anything_moves(described):
    rack, cases = described
    session = Session(rack, cases, Instant(0))
    note = NodeNote(
        node="gauge", trouble=NodeTrouble.IDENTITY, at=Instant(5), text="serial is GH-9"
    )
    session.receive(note, Instant(5))
    session.receive(reading(6), Instant(6))

    assert session.done
    events = session.take_events()

    assert not session.moved
    assert "gauge: serial is GH-9" in of(events, RunEnded)[0].aborted
    assert [event.trouble for event in of(events, NodeNoted)] == ["identity"]  # heard, not absent


def test_an_unclean_end_is_repaired_before_the_first_case(described):
    session, events = sit(*described, Gauge(), repair=True)
    kinds = [event.kind for event in events if event.kind != "datagram"]

    assert session.safe
    assert len(of(events, RunEnded)) == 1
    assert kinds.index("actuator-safe") < kinds.index("host-note") < kinds.index("case-started")
    assert of(events, HostNoted)[0].trouble == "unclean end"


def test_a_rack_that_cannot_be_repaired_runs_no_case(described):
    session, events = sit(*described, Gauge(stuck=45), repair=True)

    assert not session.safe
    assert not of(events, CaseStarted)
    assert not all(event.confirmed for event in of(events, ActuatorSafe))
    assert events[-1].aborted == "the rack could not be made safe after an unclean end"


def test_an_abort_in_the_roll_call_moves_nothing(described):
    session, events = sit(*described, Gauge(mute=True), abort_at=100 * MILLISECOND)

    assert not session.moved
    assert of(events, RunEnded)[0].aborted == "ended by SIGTERM"
    assert {"not run": 2}.items() <= of(events, RunEnded)[0].counts.items()


def test_an_abort_in_a_case_ends_safe(tmp_path):
    plan = """\
plan: Gauge
cases:
  - case: the arm stays
    steps:
      - stimulus: {gauge.arm: 45 deg}
        expect: [{signal: gauge.arm, value: 45 deg, during: 1 s to 10 s}]
"""
    session, events = sit(*describe(tmp_path, plan), Gauge(), abort_at=2_000 * MILLISECOND)

    assert session.safe
    assert next(e.outcome for e in events if e.kind == "case-ended") == "error"
    assert of(events, RunEnded)[0].at < 4_000 * MILLISECOND


def told(session):
    """What a session has decided and journalled so far; asking twice changes nothing."""
    kept = session.__dict__.setdefault("kept", [])
    kept += session.take_events()
    return session.done, session.safe, session.moved, list(kept)


def test_a_session_obeys_the_laws(described):
    rack, cases = described
    things = [
        (3 * MILLISECOND, reading(3 * MILLISECOND)),
        (900 * MILLISECOND, reading(900 * MILLISECOND, "red")),
        (4_000 * MILLISECOND, Abort(reason="x", at=Instant(4 * 10**9), patience=10**9)),
    ]

    for repair in (False, True):
        obey(
            lambda repair=repair: Session(rack, cases, Instant(0), repair=repair),
            things,
            20_000 * MILLISECOND,
            told,
        )


def test_a_roll_call_obeys_the_laws(described):
    rack, _ = described

    obey(
        lambda: RollCall(rack.nodes, ["gauge"], [], Instant(0)),
        [(LIMIT, reading(LIMIT))],
        LIMIT + 10,
        lambda call: (call.done, call.wrong, sorted(call.present)),
    )


@pytest.mark.parametrize(("at", "wrong"), [(LIMIT, []), (LIMIT + 1, ["gauge"])])
def test_a_node_may_answer_up_to_the_limit(described, at, wrong):
    call = RollCall(described[0].nodes, ["gauge"], [], Instant(0))
    if at > LIMIT:
        call.tick(Instant(LIMIT))
    else:
        call.receive(reading(at), Instant(at))

    assert call.done
    assert wrong == list(call.wrong)


def test_a_node_that_no_plan_uses_is_waited_for_a_moment_only(described):
    call = RollCall(described[0].nodes, [], [], Instant(0))
    before = call.done
    call.tick(Instant(GRACE))

    assert (before, call.done, call.wrong) == (False, True, {})


WARMUP = Duration(1_500 * MILLISECOND)
LAMP = "gauge.lamp"


@pytest.fixture
def warming(described):
    """The gauge with a lamp whose readings do not count for a while after a boot."""
    [node] = described[0].nodes
    signals = [
        dataclasses.replace(signal, warmup=WARMUP if signal.path == LAMP else ZERO)
        for signal in node.signals
    ]
    return [dataclasses.replace(node, signals=tuple(signals))]


def cold(at):
    sample = Sample(LAMP, "green", Validity.STALE, Instant(at), Instant(at), "warming up")
    return Samples("gauge", [sample])


def test_a_node_that_is_warming_up_is_waited_for(warming):
    call = RollCall(warming, ["gauge"], [LAMP], Instant(0))
    call.receive(cold(10), Instant(10))
    call.tick(Instant(GRACE))
    before = call.done
    call.receive(reading(GRACE + 5), Instant(GRACE + 5))

    assert (before, call.done, call.wrong) == (False, True, {})


def test_a_node_that_says_nothing_after_its_warm_up_is_not_waited_for_for_ever(warming):
    call = RollCall(warming, ["gauge"], [LAMP], Instant(0))
    call.receive(cold(10), Instant(10))
    call.tick(Instant(WARMUP + 9))
    before = call.done
    call.tick(Instant(WARMUP + 10))

    assert (before, call.done, call.wrong) == (False, True, {})


def test_a_warm_up_of_a_signal_that_no_plan_uses_is_not_waited_for(warming):
    call = RollCall(warming, ["gauge"], ["gauge.arm"], Instant(0))
    call.receive(cold(10), Instant(10))

    assert call.done


def test_a_node_that_boots_again_and_again_is_named(warming):
    call = RollCall(warming, ["gauge"], [LAMP], Instant(0))
    at = 0
    while not call.done:
        at += WARMUP
        call.receive(cold(at), Instant(at))

    assert at == LIMIT + WARMUP
    assert call.wrong == {"gauge": "gauge.lamp is still warming up: the node boots again and again"}


def test_a_roll_call_with_a_warm_up_obeys_the_laws(warming):
    obey(
        lambda: RollCall(warming, ["gauge"], [LAMP], Instant(0)),
        [(at, cold(at)) for at in (5, WARMUP, LIMIT)],
        LIMIT + 2 * WARMUP,
        lambda call: (call.done, call.wrong, sorted(call.present)),
    )


def test_who_did_not_speak_is_told_for_the_mark(described):
    session, _ = sit(*described, Gauge(mute=True))

    assert session.unseen == {"gauge"}


def test_what_was_last_heard_of_a_missing_node_is_told(described):
    call = RollCall(described[0].nodes, ["gauge"], [], Instant(0))
    note = NodeNote(
        node="gauge", trouble=NodeTrouble.GARBLED, at=Instant(5), text="17 octets, not 18"
    )
    call.receive(note, Instant(5))
    call.tick(Instant(LIMIT))

    assert call.wrong["gauge"].endswith("within 3 s; last heard of it: 17 octets, not 18")
