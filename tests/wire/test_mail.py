"""Whose datagrams come to a group."""

from dataclasses import replace

from wire.boards import FAN, FAN_AT, GROUP, SERVO, SERVO_AT, announce, rack, told

from hil.wire.mail import GroupMail, groups_of
from hil.wire.rack import Address

READINGS = Address("239.255.20.21", 47900)
TELLING = [replace(each, readings_to=READINGS) for each in (SERVO, FAN)]


def mail(*nodes, **more):
    return GroupMail(rack(*(nodes or TELLING), **more))


def test_the_groups_of_a_rack_are_each_listened_to_once():
    assert list(groups_of(rack(*TELLING))) == [READINGS, GROUP]
    assert list(groups_of(rack(discovery=None))) == []


def test_a_reading_is_the_senders():
    packet = mail().packet(str(READINGS), FAN_AT, told(FAN))

    assert (packet.node, packet.peer) == ("fan", FAN_AT)


def test_another_port_of_the_senders_host_will_do():
    packet = mail().packet(str(READINGS), FAN_AT._replace(port=50_000), told(FAN))

    assert (packet.node, packet.peer) == ("fan", FAN_AT)


def test_on_a_host_with_two_nodes_only_the_port_tells():
    near = replace(TELLING[1], address=SERVO_AT._replace(port=47802))
    both = mail(TELLING[0], near)
    known = both.packet(str(READINGS), near.address, b"")
    unknown = both.packet(str(READINGS), SERVO_AT._replace(port=50_000), b"")

    assert (known.node, unknown.node) == ("fan", str(READINGS))


def test_a_strangers_datagram_stays_the_groups():
    stranger = Address("192.0.2.99", 1)
    packet = mail().packet(str(READINGS), stranger, told(SERVO))

    assert (packet.node, packet.peer) == (str(READINGS), stranger)


def test_an_announce_is_the_boards_wherever_it_came_to():
    octets = announce(0x11, "S-0042")

    for name in ("fan", str(GROUP), str(READINGS)):
        assert mail().packet(name, SERVO_AT, octets).node == str(GROUP)


def test_what_comes_to_a_nodes_own_socket_is_that_nodes():
    assert mail().packet("servo", FAN_AT, b"x").node == "servo"
