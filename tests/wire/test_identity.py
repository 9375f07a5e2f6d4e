"""Who answers at a node's address: confirmed when asked, and a conflict whenever it is another."""

from dataclasses import replace

import pytest
from laws import obey
from wire.boards import FAN, FAN_AT, SERVO, SERVO_AT, announce, ms, rack, told

from hil.core.errand import Inquiry
from hil.core.instant import SECOND, Instant
from hil.core.observation import Confirmed, NodeNote, NodeTrouble, Samples, Unconfirmed
from hil.wire.confirming import PATIENCE
from hil.wire.link import Links, Packet
from hil.wire.overheard import Overheard
from hil.wire.rack import Address, Identity

ELSEWHERE = Address("192.0.2.23", 47801)
ASKED = Inquiry(node="servo")


def links(*nodes, **more):
    return Links(rack(*nodes, **more), ms(0))


def hear(machine, octets, at, peer=SERVO_AT, node="servo"):
    machine.receive(Packet(node, peer, octets), ms(at))
    return machine.take_observations()


def kinds(seen, kind):
    return [each for each in seen if isinstance(each, kind)]


def notes(seen):
    return [(note.trouble, note.text) for note in kinds(seen, NodeNote)]


def ask(machine, at=0, node="servo"):
    """Put the question; the read requests leave at once."""
    machine.take_sends()
    machine.execute(Inquiry(node=node), ms(at))
    packets = machine.take_sends()
    for packet in packets:
        machine.sent(packet, ms(at))
    return packets


def run_out(machine, until=10_000):
    seen = []
    while (wakeup := machine.next_wakeup()) is not None and wakeup <= ms(until):
        machine.tick(wakeup)
        for packet in machine.take_sends():
            machine.sent(packet, wakeup)
        seen += machine.take_observations()
    return seen


def test_a_node_that_answers_is_confirmed_with_what_it_told():
    machine = links()
    (request,) = ask(machine, 10)
    (seen,) = kinds(hear(machine, told(SERVO, boots=7, uptime=5 * SECOND), 13), Confirmed)

    assert request.payload[4] == 1  # the operation `read`
    assert (seen.node, seen.at, seen.asked, seen.took) == ("servo", ms(13), 1, ms(3))
    assert dict(seen.facts) == {
        "number": "17",
        "serial": "S-0042",
        "firmware": "1.9",
        "boots": "7",
        "uptime": "5 s",
    }


def test_a_reading_from_before_the_question_confirms_nothing():
    machine = links()
    hear(machine, told(SERVO), 9)
    ask(machine, 10)

    assert kinds(run_out(machine), Confirmed) == []


def test_a_reading_that_comes_by_itself_after_the_question_confirms():
    listener = replace(SERVO, read=None, listen=9, renew=SECOND)
    machine = links(listener)
    assert [packet.payload[4] for packet in ask(machine, 10)] == [9]  # `listen`, and no `read`

    (seen,) = kinds(hear(machine, told(listener), 50), Confirmed)

    assert (seen.asked, seen.took) == (0, ms(40))


def test_a_lost_question_is_repeated_and_never_in_silence():
    machine = links()
    ask(machine)
    seen = run_out(machine, 60)
    found = hear(machine, told(SERVO), 70)

    assert notes(seen) == [
        (
            NodeTrouble.UNANSWERED,
            "the first of these requests was not answered within 50 ms; it is repeated",
        )
    ]
    assert [each.asked for each in kinds(found, Confirmed)] == [2]


def test_a_node_that_does_not_answer_is_unconfirmed_after_a_while():
    machine = links()
    ask(machine)
    seen = run_out(machine)

    assert kinds(seen, Unconfirmed) == [
        Unconfirmed(
            node="servo", at=Instant(PATIENCE), detail="no reading from 192.0.2.17:47801 within 3 s"
        )
    ]
    assert len(notes(seen)) == 1


def test_a_node_that_speaks_only_when_driven_is_confirmed_unheard():
    mute = replace(SERVO, read=None)
    machine = links(mute)
    machine.execute(ASKED, ms(5))

    assert machine.take_observations() == [
        Confirmed(node="servo", at=ms(5), facts=(), asked=0, took=0)
    ]


def test_another_serial_is_a_conflict_and_no_confirmation():
    # the field report: at the address of S-0042 now answers S-0077
    machine = links()
    ask(machine)
    seen = hear(machine, told(SERVO, "S-0077"), 3)

    assert notes(seen) == [(NodeTrouble.IDENTITY, "serial is S-0077, wanted S-0042")]
    assert kinds(seen + run_out(machine, 2000), (Confirmed, Unconfirmed)) == []


def test_another_number_at_the_address_is_a_conflict():
    machine = links()
    ask(machine)
    seen = hear(machine, told(FAN), 3)

    assert notes(seen) == [(NodeTrouble.IDENTITY, "says it is node 18; servo is 17")]
    assert kinds(seen, Samples) == []


@pytest.mark.parametrize(("firmware", "conflict"), [("1.10", False), ("1.9", False), ("1.8", True)])
def test_older_firmware_is_a_conflict(firmware, conflict):
    machine = links()
    ask(machine)
    seen = hear(machine, told(SERVO, firmware=firmware), 3)

    assert conflict is (NodeTrouble.IDENTITY in [trouble for trouble, _ in notes(seen)])


def test_without_a_declared_serial_a_change_is_a_conflict():
    machine = links(replace(SERVO, identity=Identity()))
    first = hear(machine, told(SERVO, "S-0001"), 0)
    second = hear(machine, told(SERVO, "S-0002", sequence=1), 10)

    assert notes(first) == []
    assert notes(second) == [
        (NodeTrouble.IDENTITY, "serial is S-0002, was S-0001: another node answers here")
    ]


def test_a_second_board_with_the_number_is_named_with_both_serials_and_addresses():
    machine = links()
    seen = hear(machine, told(SERVO, "S-0077"), 3, peer=ELSEWHERE)

    assert notes(seen) == [
        (
            NodeTrouble.IDENTITY,
            "two nodes have the number 17: serial S-0042 at 192.0.2.17:47801, "
            "serial S-0077 at 192.0.2.23:47801",
        )
    ]


def test_a_board_with_two_addresses_is_no_conflict():
    machine = links()
    seen = hear(machine, told(SERVO), 3, peer=ELSEWHERE)

    assert notes(seen) == [
        (
            NodeTrouble.FOREIGN,
            "serial S-0042 speaks from 192.0.2.23:47801 as well, servo is at 192.0.2.17:47801",
        )
    ]
    assert kinds(seen, Samples) == []


def test_where_it_may_speak_from_anywhere_it_counts_but_another_board_does_not():
    machine = links(replace(SERVO, any_source=True))
    own = hear(machine, told(SERVO), 3, peer=ELSEWHERE)
    other = hear(machine, told(SERVO, "S-0077", sequence=1), 5, peer=ELSEWHERE)

    assert notes(own)[0][1].endswith("servo is at 192.0.2.17:47801; it counts (any-source)")
    assert len(kinds(own, Samples)) == 1
    assert "two nodes have the number 17" in notes(other)[0][1]
    assert kinds(other, Samples) == []


def test_a_third_hears_it_from_anywhere_too_and_another_board_does_not_count():
    third = Overheard(rack(replace(SERVO, any_source=True)))
    third.came("servo", ELSEWHERE, told(SERVO), ms(3))
    own = third.take_observations()
    third.came("servo", ELSEWHERE, told(SERVO, "S-0077", sequence=1), ms(5))
    other = third.take_observations()

    assert [trouble for trouble, _ in notes(own)] == [NodeTrouble.ANY_SOURCE]
    assert len(kinds(own, Samples)) == 1
    assert "two nodes have the number 17" in notes(other)[0][1]
    assert kinds(other, Samples) == []


def test_addresses_of_both_kinds_are_named_when_a_node_answers_from_the_other():
    dual = Address("2001:db8::17", 47801)
    machine = links(replace(SERVO, identity=Identity()))
    (note,) = notes(hear(machine, told(SERVO), 3, peer=dual))

    assert note == (
        NodeTrouble.FOREIGN,
        "a reading of node 17 came from [2001:db8::17]:47801, servo is at 192.0.2.17:47801",
    )


def test_one_flipped_bit_without_a_check_is_no_conflict_but_two_are():
    bare = replace(SERVO.layouts[1], fields=SERVO.layouts[1].fields[:-1])
    without = replace(SERVO, layouts=(SERVO.layouts[0], bare))
    machine = links(without)
    hear(machine, told(SERVO)[:-2], 0)
    once = hear(machine, told(SERVO, "S-0043", sequence=1)[:-2], 10)
    right = hear(machine, told(SERVO, sequence=2)[:-2], 20)
    hear(machine, told(SERVO, "S-0043", sequence=3)[:-2], 30)
    again = hear(machine, told(SERVO, "S-0043", sequence=4)[:-2], 40)

    assert [trouble for trouble, _ in notes(once)] == [NodeTrouble.STRAY]
    assert notes(once)[0][1].endswith("not believed unless told again")
    assert kinds(once, Samples) == []
    assert notes(right) == []
    assert notes(again) == [(NodeTrouble.IDENTITY, "serial is S-0043, wanted S-0042")]


def test_an_announce_of_a_second_board_is_a_conflict_in_mid_run():
    # the field report: announce of 0x11 by a servo, and 300 ms later by a fan
    machine = links()
    group = "239.255.20.20:47900"
    mine = hear(machine, announce(0x11, "S-0042", kind="servo"), 0, node=group)
    other = hear(machine, announce(0x11, "S-0666", kind="fan"), 300, peer=ELSEWHERE, node=group)
    again = hear(machine, announce(0x11, "S-0666", kind="fan"), 600, peer=ELSEWHERE, node=group)

    assert (mine, again) == ([], [])
    (note,) = kinds(other, NodeNote)
    assert (note.node, note.trouble) == ("servo", NodeTrouble.IDENTITY)
    assert note.text == (
        "two nodes have the number 17: serial S-0666, firmware 1.9, type fan announces itself from "
        "192.0.2.23:47801; serial S-0042 must be at 192.0.2.17:47801"
    )


def test_an_announce_of_another_board_at_the_nodes_address_is_a_conflict():
    group = "239.255.20.20:47900"
    seen = hear(links(), announce(0x11, "S-0077"), 0, node=group)

    assert notes(seen) == [
        (
            NodeTrouble.IDENTITY,
            "serial is S-0077, wanted S-0042: serial S-0077, firmware 1.9 announces itself from "
            "192.0.2.17:47801",
        )
    ]


def test_an_announce_from_another_address_tells_where_the_board_is():
    machine = links()
    group = "239.255.20.20:47900"
    moved = hear(machine, announce(0x11, "S-0042"), 0, peer=ELSEWHERE, node=group)
    strange = hear(machine, announce(0x33, "S-0099"), 1, peer=ELSEWHERE, node=group)

    assert notes(moved)[0][0] is NodeTrouble.FOREIGN
    assert "from 192.0.2.23:47801, servo is at 192.0.2.17:47801" in notes(moved)[0][1]
    assert notes(strange)[0][1].endswith("192.0.2.23:47801: no node of this rack")


def test_the_links_ask_once_who_is_there():
    (packet,) = [p for p in links().take_sends() if p.peer.host == "239.255.20.20"]

    assert packet.payload[0] == 0x51
    assert links(discovery=None).take_sends() == ()


def test_links_that_are_asked_obey_the_laws_of_machines():
    class Asked(Links):
        def __init__(self):
            super().__init__(rack(), ms(0))
            self.execute(ASKED, ms(0))
            self.execute(Inquiry(node="fan"), ms(0))
            self.seen = []

        def take_sends(self):
            self.seen += self.take_observations()
            return super().take_sends()

    things = [
        (ms(120), Packet("servo", SERVO_AT, told(SERVO))),
        (ms(140), Packet("servo", SERVO_AT, told(SERVO, "S-0077", sequence=1))),
        (ms(150), Packet("239.255.20.20:47900", ELSEWHERE, announce(0x12, "S-0666"))),
        (ms(160), Packet("fan", FAN_AT, told(FAN)[:-1])),
    ]

    obey(Asked, things, ms(4000), lambda machine: machine.seen)
