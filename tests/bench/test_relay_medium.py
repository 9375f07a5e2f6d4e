"""The relay of a virtual bench: only what goes between the tool and a node passes it."""

from dataclasses import replace
from decimal import Decimal

import pytest
from bench.small import FIRST, MS, SECOND, SMALL, Echo, ms, packet

from hil.bench.relay import aside_of, behind, moved
from hil.bench.relay_medium import RelayMedium
from hil.bench.virtual import VirtualBench, tool_addresses
from hil.core.error import BenchError
from hil.core.instant import Duration, Instant
from hil.wire.disturbance import Disturbance, RelayScript, Way
from hil.wire.rack import Address, Envelope

START = Instant(0)


def medium(*script):
    rack = replace(SMALL, relay=RelayScript(seed=1, script=script))
    return rack, RelayMedium(rack, START)


def answers(*script, calm=False):
    """Ask the echo once; return when the answer came."""
    rack, between = medium(*script)
    if not calm:
        between.disturb()
    bench = VirtualBench(rack, Echo(), medium=between)
    bench.send(packet())
    arrivals, _ = bench.wait(ms(1000))
    return [arrival.at for arrival in arrivals]


def test_it_begins_calm():
    assert answers(Disturbance(loss=Decimal(1)), calm=True) == [ms(0.4)]


def test_a_delay_each_way_counts_twice():
    assert answers(Disturbance(delay=Duration(5 * MS))) == [ms(10.4)]


def test_each_way_can_be_lost():
    for way in Way:
        assert answers(Disturbance(ways=(way,), loss=Decimal(1))) == []


def test_what_nodes_say_to_one_another_passes_by():
    rack, between = medium(Disturbance(loss=Decimal(1)))
    between.disturb()
    tool = tool_addresses(rack)["n1"]

    for envelope in (Envelope(FIRST, SECOND, b"peer"), Envelope(FIRST, tool, b"lost")):
        between.receive(envelope, START)
    between.tick(ms(1))

    assert [thing.payload for thing in between.take_sends()] == [b"peer"]


def test_what_a_node_tells_a_group_is_disturbed_too():
    group = Address("239.255.20.21", 47_920)
    nodes = (replace(SMALL.nodes[0], readings_to=group), *SMALL.nodes[1:])
    script = RelayScript(seed=1, script=(Disturbance(delay=Duration(5 * MS)),))
    between = RelayMedium(replace(SMALL, nodes=nodes, relay=script), START)
    between.disturb()

    between.receive(Envelope(FIRST, group, b"reading"), START)
    assert between.next_wakeup() == ms(5)
    between.tick(ms(5))
    between.tick(ms(5.2))
    (thing,) = between.take_sends()
    assert (thing.destination, thing.payload) == (group, b"reading")


def test_nodes_behind_a_relay_tell_their_groups_aside():
    group, aside = Address("239.255.20.21", 47_920), Address("239.255.20.21", 47_921)
    one, *others = SMALL.nodes
    rack = replace(SMALL, nodes=(replace(one, readings_to=group), *others))

    assert aside_of(rack) == {group: aside}
    behind_it = moved(rack, {one.name: Address("127.0.0.2", one.address.port)})
    assert behind_it.nodes[0].readings_to == aside
    assert behind_it.nodes[0].address.host == "127.0.0.2"
    assert moved(rack, {}) == rack  # no relay, nothing moves


def test_real_nodes_that_tell_a_group_have_no_relay_before_them():
    group = Address("239.255.20.21", 47_920)
    one, *others = SMALL.nodes
    script = RelayScript(seed=1, script=(), behind={one.name: Address("127.0.0.1", 9)})
    rack = replace(SMALL, nodes=(replace(one, readings_to=group), *others), relay=script)

    with pytest.raises(
        BenchError, match=r"no relay can stand before real nodes .* 239\.255\.20\.21"
    ):
        behind(rack)
