"""The relay of a virtual bench: only what goes between the tool and a node passes it."""

from dataclasses import replace
from decimal import Decimal

from bench.small import FIRST, MS, SECOND, SMALL, Echo, ms, packet

from hil.bench.relay_medium import RelayMedium
from hil.bench.virtual import VirtualBench, tool_addresses
from hil.core.instant import Duration, Instant
from hil.wire.disturbance import Disturbance, RelayScript, Way
from hil.wire.rack import Envelope

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
