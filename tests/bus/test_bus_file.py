"""The `bus` of a bench file: what is read, what is derived, and what is refused with its place."""

from decimal import Decimal
from pathlib import Path

import pytest

from hil.core.error import DescriptionError
from hil.core.instant import MILLISECOND
from hil.files.read import read_rack
from hil.wire.segment import Cable, Diagnosis, Participant

ROOT = Path(__file__).parents[2]
NODE = (ROOT / "fixtures" / "first-node.yaml").read_text("utf-8")
BUS = """
bus:
  node-count: 2
  participants:
    tool: {id: 0}
    feedline: {id: 1}
"""


@pytest.fixture
def read(tmp_path):
    def go(bus):
        file = tmp_path / "bench.yaml"
        file.write_text(NODE + bus, encoding="utf-8")
        return read_rack(file)

    return go


def traffic(rack):
    return {each.name: each for each in rack.bus.segment.traffic}


def test_a_bench_file_without_a_bus_has_none(read):
    assert read("").bus is None


def test_what_is_left_out_is_what_the_standard_says(read):
    segment = read(BUS).bus.segment

    assert (segment.rate, segment.plca, segment.node_count) == (10_000_000, True, 2)
    assert segment.participants == (
        Participant(name="tool", plca_id=0, to_timer=32, burst_count=0, burst_timer=128),
        Participant(name="feedline", plca_id=1, to_timer=32, burst_count=0, burst_timer=128),
    )


def test_a_participant_may_differ_from_the_bus(read):
    bus = BUS.replace("  node-count: 2", "  node-count: 2\n  to-timer: 24\n  burst: 3")
    bus = bus.replace("{id: 1}", "{id: 1, to-timer: 32, burst: 0, burst-timer: 100}")

    tool, node = read(bus).bus.segment.participants

    assert (tool.to_timer, tool.burst_count, tool.burst_timer) == (24, 3, 128)
    assert (node.to_timer, node.burst_count, node.burst_timer) == (32, 0, 100)


def test_a_node_that_is_not_listed_has_no_id(read):
    segment = read(BUS.replace("    feedline: {id: 1}\n", "")).bus.segment

    assert {each.name: each.plca_id for each in segment.participants} == {
        "tool": 0,
        "feedline": None,
    }


def test_traffic_follows_from_the_layouts(read):
    # octets counted by hand in first-node.yaml: request 11, answer 12, reading 30
    found = traffic(read(BUS))

    assert set(found) == {"feedline.readings", "feedline.renew", "feedline.commands"}
    assert found["feedline.readings"].payload == 30
    commands = found["feedline.commands"]
    assert (commands.sender, commands.receiver) == ("tool", "feedline")
    assert (commands.payload, commands.answer) == (11, 12)
    assert found["feedline.renew"].interval == 2000 * MILLISECOND


def test_an_interval_that_nothing_says_is_assumed_and_named(read):
    assert read(BUS).bus.assumed == ("feedline.readings", "feedline.commands")
    assert read(BUS + "  readings-every: 5 ms\n  commands-every: 30 ms\n").bus.assumed == ()


def test_derived_traffic_can_be_told_otherwise_and_other_traffic_added(read):
    bus = BUS + (
        "  traffic:\n"
        "    feedline.readings: {every: 4 ms}\n"
        "    feedline.to-itself: {from: tool, size: 100, every: 1 s}\n"
    )
    rack = read(bus)

    assert traffic(rack)["feedline.readings"].interval == 4 * MILLISECOND
    assert traffic(rack)["feedline.to-itself"].receiver == ""
    assert rack.bus.assumed == ("feedline.commands",)


def test_cable_noise_and_diagnoses_are_read(read):
    told = "quality: pressure, counters: [pressure], unexpected-beacons: pressure"
    bus = BUS.replace("{id: 1}", f"{{id: 1, stub: 6 cm, {told}}}") + (
        "  cable: {length: 4.5 m, ends: [tool, wall], terminated: [tool, wall]}\n"
        "  noise: {bit-errors: 1e-9, loss: 0.001}\n  set-plca: yes\n  quality-at-least: 5\n"
    )
    rack = read(bus)

    assert rack.bus.segment.cable == Cable(
        length_mm=4500,
        ends=("tool", "wall"),
        terminated=("tool", "wall"),
        stubs_mm={"feedline": 60},
    )
    assert (rack.bus.bit_errors, rack.bus.loss) == (Decimal("1e-9"), Decimal("0.001"))
    assert (rack.bus.set_plca, rack.bus.least_quality) == (True, 5)
    assert rack.bus.diagnoses == {
        "feedline": Diagnosis(
            quality="feedline.pressure",
            counters=("feedline.pressure",),
            beacons="feedline.pressure",
        )
    }


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("feedline: {id: 1}", "feedlin: {id: 1}", "neither a node of this file nor `tool`"),
        ("feedline: {id: 1}", "feedline: {id: one}", "id: expected a whole number"),
        ("feedline: {id: 1}", "feedline: {id: 1, other: yes}", "`feedline` is no other device"),
        ("feedline: {id: 1}", "feedline: {id: 1, stub: 6 cm}", "`stub` goes only with `cable`"),
        ("feedline: {id: 1}", "feedline: {id: 1, quality: sqi}", "feedline has no signal `sqi`"),
        ("feedline: {id: 1}", "feedline: {id: 1, counters: sqi}", "expected a list of signals"),
        (
            "feedline: {id: 1}",
            "feedline: {id: 1, unexpected-beacons: fault}",
            "feedline.fault is no number",
        ),
        (
            "feedline: {id: 1}",
            "feedline: {id: 1, counters: [fault]}",
            "feedline.fault is no number",
        ),
        ("node-count: 2", "node-count: 2\n  rate: 3 Mbit/s", "rate: a bit time must be a whole"),
        ("node-count: 2", "node-count: 2\n  rate: 10", "rate: `10` has no unit"),
        ("node-count: 2", "node-count: 2\n  readings-every: 0 s", "expected more than 0 s"),
        ("node-count: 2", "node-count: 2\n  noise: {loss: 2}", "a probability lies from 0 to 1"),
        ("node-count: 2", "node-count: 2\n  cable: {length: 4 m}", "lacks the key `ends`"),
        ("node-count: 2", "node-count: 2\n  traffic: {a: {from: tool}}", "lacks `size`, `every`"),
        (
            "node-count: 2",
            "node-count: 2\n  traffic: {a: {from: to, size: 1, every: 1 s}}",
            "nobody on the bus is called `to`",
        ),
        (
            "node-count: 2",
            "node-count: 2\n  traffic: {feedline.renew: {size: 70000}}",
            "a UDP datagram holds 0 to 65507 octets",
        ),
        ("node-count: 2", "node-count: 2\n  nodes: 3", "a bus has no key `nodes`"),
    ],
)
def test_a_mistake_is_told_with_its_place(read, old, new, told):
    assert old in BUS

    with pytest.raises(DescriptionError) as caught:
        read(BUS.replace(old, new))

    assert told in str(caught.value)
    assert all(mistake.mark.line > NODE.count("\n") for mistake in caught.value.mistakes)
