"""Reading signals once: no longer than it must, and silence with its reason."""

import pytest
from laws import obey
from runner.gauge import Gauge, describe

from hil.bench.loop import drive
from hil.bench.virtual import VirtualBench
from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.core.observation import Abort, NodeNote, NodeTrouble, Samples
from hil.core.signal import Sample, Validity
from hil.runner.fetching import Fetching
from hil.runner.naming import named_signals
from hil.runner.onlooker import reading_rack, watching_rack
from hil.wire.link import Links

LIMIT = Duration(2 * SECOND)


@pytest.fixture
def rack(tmp_path):
    return describe(tmp_path)[0]


def fetch(rack, gauge, *words):
    """Fetch in virtual time; return the machine and when it was done."""
    signals = named_signals(rack, words)
    asked = reading_rack(rack, signals)
    bench = VirtualBench(rack, gauge)
    machine = Fetching(asked.nodes, signals, Instant(0), LIMIT)
    links = Links(asked, Instant(0))
    drive(machine, links, bench, print, origin=Instant(0), record_datagram=lambda *_: 0)
    return machine, bench.now()


def sample(at, validity=Validity.VALID, value="green"):
    raw = b"\x31"
    return Samples(
        "gauge", [Sample("gauge.lamp", value, validity, Instant(at), Instant(at), "", raw)]
    )


def test_one_reading_is_enough(rack):
    gauge = Gauge()
    machine, took = fetch(rack, gauge, "gauge.lamp", "gauge.arm")

    assert {path: one.value for path, one in machine.seen.items()} == {
        "gauge.lamp": "green",
        "gauge.arm": 0,
    }
    assert took < 10 * MILLISECOND
    assert not machine.silent


def test_a_node_is_read_and_not_asked_to_remember_anybody(rack):
    """Operation 1 is `read`, 9 is `listen`."""
    gauge = Gauge()
    fetch(rack, gauge, "gauge.lamp")

    assert {payload[4] for payload in gauge.heard} == {1}


def test_to_watch_a_node_is_listened_to(rack):
    watched = watching_rack(rack, named_signals(rack, ["gauge.lamp"]))

    assert watched.nodes == rack.nodes


def test_a_mute_node_is_asked_again_until_the_limit_and_then_called_silent(rack):
    gauge = Gauge(mute=True)
    machine, took = fetch(rack, gauge, "gauge.lamp")

    assert took == LIMIT + 1
    assert len(gauge.heard) == 8  # every 250 ms; the ninth is still under way
    assert machine.silent == {"gauge": "no reading from 127.0.0.1:47123 within 2 s"}


def test_only_nodes_that_are_asked_for_are_there(request):
    from hil.files.read import read_rack

    rack = read_rack(request.config.rootpath / "fixtures" / "glasshouse.yaml")
    asked = reading_rack(rack, named_signals(rack, ["feedline", "beacon.lamp"]))

    assert [node.name for node in asked.nodes] == ["feedline", "beacon"]


def make(rack):
    signals = named_signals(rack, ["gauge.lamp"])
    return Fetching(reading_rack(rack, signals).nodes, signals, Instant(0), LIMIT)


def note(trouble, text, at=5):
    return NodeNote(node="gauge", trouble=trouble, at=Instant(at), text=text, raw=b"\x31\x07")


def test_a_closed_port_is_not_waited_for(rack):
    machine = make(rack)
    machine.receive(note(NodeTrouble.UNREACHABLE, "port closed"), Instant(5))

    assert machine.done
    assert machine.silent == {"gauge": "port closed"}


def test_what_came_and_was_of_no_use_is_told_with_its_octets(rack):
    machine = make(rack)
    machine.receive(note(NodeTrouble.GARBLED, "CRC wrong"), Instant(5))
    machine.tick(Instant(LIMIT + 1))

    assert machine.silent["gauge"].endswith(
        "; 1 datagram came that could not be used, the last: CRC wrong (hil wire 3107)"
    )


def test_a_node_that_is_another_one_is_told(rack):
    machine = make(rack)
    machine.receive(note(NodeTrouble.IDENTITY, "serial is GH-9"), Instant(5))
    machine.receive(sample(6), Instant(6))

    assert machine.done
    assert machine.impostors == {"gauge": "serial is GH-9"}


def test_no_measurement_is_an_answer_too(rack):
    machine = make(rack)
    machine.receive(sample(6, Validity.INVALID, None), Instant(6))

    assert machine.done
    assert not machine.silent


def test_fetching_obeys_the_laws(rack):
    things = [
        (5, note(NodeTrouble.GARBLED, "CRC wrong")),
        (90, sample(90)),
        (200, Abort(reason="x", at=Instant(200), patience=Duration(1))),
    ]

    for chosen in ([], things[:1], things[1:2], things[2:]):
        obey(lambda: make(rack), chosen, 3 * SECOND, lambda one: (one.done, one.silent, one.seen))
