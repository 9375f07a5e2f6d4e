"""Software nodes that announce themselves, and one that tells its readings to a group."""

from pathlib import Path

from laws import obey

from hil.core.instant import MILLISECOND, SECOND, Instant
from hil.files.read import read_rack
from hil.nodes.announcing import LEISURE
from hil.nodes.rack import SoftwareRack
from hil.wire.announce import nobodys
from hil.wire.identity import facts
from hil.wire.layout import Codec
from hil.wire.rack import Address, Envelope, Role

RACK = read_rack(str(Path(__file__).parents[2] / "fixtures" / "annexe.yaml"))
GROUP = RACK.discovery.group
READINGS = Address("239.255.20.21", 47920)
ANNOUNCE, ASK = nobodys(RACK.discovery.announce), nobodys(RACK.discovery.ask)
ASKER = Address("127.0.0.1", 50_000)
FEEDLINE = RACK.nodes[0]
POWER = 15


def ms(count):
    return Instant(int(count * MILLISECOND))


def live(machine, things, until):
    """Return what the nodes sent, with when."""
    sent = [(0, each) for each in machine.take_sends()]
    for at, thing in [*things, (until, None)]:
        while (wakeup := machine.next_wakeup()) is not None and wakeup <= ms(at):
            machine.tick(wakeup)
            sent += [(wakeup, each) for each in machine.take_sends()]
        if thing is not None:
            machine.receive(thing, ms(at))
    return sent


def announced(sent, to):
    return [
        (at, facts(ANNOUNCE, each.payload))
        for at, each in sent
        if each.destination == to and ANNOUNCE.head(each.payload)
    ]


def request(operation, value=0):
    codec = next(Codec(each, FEEDLINE) for each in FEEDLINE.layouts if each.role is Role.REQUEST)
    octets = codec.encode(request=1, operation=operation, value=value)
    return Envelope(ASKER, FEEDLINE.address, octets)


def test_nodes_announce_themselves_to_the_group_when_they_are_powered():
    found = announced(live(SoftwareRack(RACK, ms(0)), [], 1), GROUP)

    assert [told["serial"] for _, told in found] == ["AX-0201", "AX-0205", "AX-0207"]
    assert found[0][1] == {
        "number": "1",
        "serial": "AX-0201",
        "firmware": "1.4.2",
        "boots": "1",
        "uptime": "0 ms",
    }


def test_who_asks_all_is_answered_by_each_a_moment_later():
    ask = Envelope(ASKER, GROUP, ASK.encode())
    found = announced(live(SoftwareRack(RACK, ms(0)), [(50, ask)], 200), ASKER)

    assert {told["number"] for _, told in found} == {"1", "5", "7"}
    assert all(ms(50) < at <= ms(50) + LEISURE for at, _ in found)
    assert len({at for at, _ in found}) == 3


def test_who_asks_one_is_answered_by_that_one():
    ask = Envelope(ASKER, FEEDLINE.address, ASK.encode())
    found = announced(live(SoftwareRack(RACK, ms(0)), [(50, ask)], 200), ASKER)

    assert [told["number"] for _, told in found] == ["1"]


def test_a_node_announces_itself_again_after_a_restart_and_not_while_it_boots():
    ask = Envelope(ASKER, GROUP, ASK.encode())
    things = [(50, request(POWER, "restart")), (100, ask)]
    sent = live(SoftwareRack(RACK, ms(0)), things, 1000)
    again = [(at, told["number"], told["boots"]) for at, told in announced(sent, GROUP) if at]

    assert {told["number"] for _, told in announced(sent, ASKER)} == {"5", "7"}
    assert [(number, boots) for _, number, boots in again] == [("1", "2")]
    assert again[0][0] > ms(200)


def test_readings_go_to_the_group_without_being_asked_for():
    codec = Codec(FEEDLINE.layouts[-1], FEEDLINE)
    sent = live(SoftwareRack(RACK, ms(0)), [(500, request(POWER, "restart"))], 2000)
    heads = [(at, codec.head(each.payload)) for at, each in sent if each.destination == READINGS]
    first = [head.sequence for _, head in heads if head.boots == 1]
    second = [head.sequence for _, head in heads if head.boots == 2]

    assert first == list(range(len(first)))
    assert len(first) >= 5  # ten times a second
    assert second == list(range(len(second)))
    assert len(second) >= 10


def test_the_rack_obeys_the_laws_of_machines():
    things = [
        (ms(40), Envelope(ASKER, GROUP, ASK.encode())),
        (ms(45), Envelope(ASKER, GROUP, ASK.encode())),
        (ms(60), request(POWER, "restart")),
        (ms(300), Envelope(ASKER, GROUP, ASK.encode() + b"x")),
    ]

    obey(lambda: SoftwareRack(RACK, Instant(0)), things, SECOND, lambda rack: rack.settled)
