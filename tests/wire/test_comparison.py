"""What a scan saw against the bench file: every kind of difference, and no other."""

from dataclasses import replace

from wire.boards import FAN, FAN_AT, SERVO, SERVO_AT, node, rack

from hil.wire.comparison import Comparison
from hil.wire.rack import Address, Identity
from hil.wire.sighting import Sighting

AT_23 = Address("192.0.2.23", 47801)


def seen(address, number, serial="", firmware="1.10", **more):
    return Sighting(
        address=address,
        number=number,
        serial=serial,
        firmware=firmware,
        rounds={0, 1, 2},
        ways={"asked": None},
        **more,
    )


S, F = seen(SERVO_AT, 17, "S-0042"), seen(FAN_AT, 18, "S-0007")


def found(*sightings, nodes=()):
    return Comparison(rack(*nodes), sightings, 3)


def told(*sightings, nodes=()):
    return [(each.kind, each.node, each.text) for each in found(*sightings, nodes=nodes).findings]


def test_a_rack_as_declared_has_no_findings():
    assert told(S, F) == []
    assert [entry.node.name for entry in found(S, F).entries] == ["servo", "fan"]


def test_a_node_that_nobody_heard_is_missing():
    assert told(F) == [("missing", "servo", "nothing from 192.0.2.17:47801 in 3 rounds")]
    assert [entry.sighting for entry in found(F).entries] == [None, F]


def test_the_address_now_belongs_to_another_board_and_the_node_has_moved():
    # the field report: S-0042 is declared at .17; there answers S-0077, and S-0042 is at .23
    impostor, moved = seen(SERVO_AT, 17, "S-0077"), seen(AT_23, 17, "S-0042")

    assert told(impostor, moved, F) == [
        ("other serial", "servo", "serial is S-0077, wanted S-0042, at 192.0.2.17:47801"),
        ("moved", "servo", "it is at 192.0.2.23:47801, the bench file says 192.0.2.17:47801"),
        (
            "two nodes",
            "servo",
            "2 nodes have the number 17: serial S-0077 at 192.0.2.17:47801; "
            "serial S-0042 at 192.0.2.23:47801",
        ),
    ]


def test_the_address_now_belongs_to_another_board_and_the_node_is_gone():
    assert told(seen(SERVO_AT, 17, "S-0077"), F) == [
        ("other serial", "servo", "serial is S-0077, wanted S-0042, at 192.0.2.17:47801"),
        ("missing", "servo", "serial S-0042 was not heard in 3 rounds"),
    ]


def test_two_boards_with_one_number_are_named_with_what_they_are():
    # the field report: a servo and a fan announce the id 0x11
    servo = seen(SERVO_AT, 17, "S-0042", more={"type": "servo"})
    fan = seen(AT_23, 17, "S-0666", more={"type": "fan"})

    assert told(servo, fan, F) == [
        (
            "two nodes",
            "servo",
            "2 nodes have the number 17: serial S-0042, type servo at 192.0.2.17:47801; "
            "serial S-0666, type fan at 192.0.2.23:47801",
        ),
        (
            "unknown",
            "",
            "serial S-0666, type fan at 192.0.2.23:47801, number 17: no node of the bench file",
        ),
    ]


def test_without_serials_two_addresses_with_one_number_are_two_nodes():
    plain = [replace(each, identity=Identity()) for each in (SERVO, FAN)]
    sightings = seen(SERVO_AT, 17), seen(AT_23, 17), seen(FAN_AT, 18)

    assert [kind for kind, _, _ in told(*sightings, nodes=plain)] == ["two nodes"]


def test_one_board_may_have_two_addresses():
    assert told(S, seen(AT_23, 17, "S-0042"), F) == [
        (
            "two addresses",
            "servo",
            "serial S-0042 speaks from 192.0.2.17:47801 and 192.0.2.23:47801",
        )
    ]


def test_a_board_that_says_it_is_another_node_is_told():
    assert told(seen(SERVO_AT, 19, "S-0042"), F) == [
        ("other number", "servo", "says it is node 19, the bench file says 17")
    ]


def test_firmware_is_compared_part_by_part():
    # 1.9 < 1.10: versions are compared as numbers, part by part (semver.org, 2.0.0 §11)
    assert told(seen(SERVO_AT, 17, "S-0042", "1.10"), F) == []
    assert told(seen(SERVO_AT, 17, "S-0042", "1.8"), F) == [
        ("firmware", "servo", "firmware is 1.8, wanted >= 1.9")
    ]


def test_a_reboot_during_the_scan_is_told():
    assert told(seen(SERVO_AT, 17, "S-0042", restarts=["rebooted by round 2"]), F) == [
        ("rebooted", "servo", "rebooted by round 2")
    ]


def test_a_board_in_no_entry_is_unknown():
    stranger = seen(AT_23, 51, "S-0099")

    assert told(S, F, stranger) == [
        ("unknown", "", "serial S-0099 at 192.0.2.23:47801, number 51: no node of the bench file")
    ]
    assert found(S, F, stranger).entries[-1].node is None


def test_a_node_that_was_seen_seldom_is_no_difference():
    seldom = replace(S, rounds={1})

    assert told(seldom, F) == []


def test_on_one_host_ports_tell_nodes_apart():
    one = node("one", 1, Address("127.0.0.1", 47801), "S-1")
    two = node("two", 2, Address("127.0.0.1", 47802), "S-2")
    swapped = (
        seen(Address("127.0.0.1", 47801), 2, "S-2"),
        seen(Address("127.0.0.1", 47802), 1, "S-1"),
    )
    kinds = [(kind, name) for kind, name, _ in told(*swapped, nodes=(one, two))]

    assert kinds == [
        ("other serial", "one"),
        ("moved", "one"),
        ("other serial", "two"),
        ("moved", "two"),
    ]


def test_an_announce_from_another_port_of_a_host_with_one_node_is_at_home():
    announced = seen(SERVO_AT._replace(port=50_001), 17, "S-0042")

    assert told(announced, F) == []
