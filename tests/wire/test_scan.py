"""A scan: rounds, what counts as a sighting, and that it never does more than ask."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import obey
from wire.boards import (
    DISCOVERY,
    FAN,
    FAN_AT,
    GROUP,
    SERVO,
    SERVO_AT,
    announce,
    ms,
    rack,
    told,
)

from hil.core.instant import Instant
from hil.wire.coap.message import Message, Type, decode, encode
from hil.wire.coap_call import TOKEN
from hil.wire.link import Packet
from hil.wire.rack import Address, Rack
from hil.wire.scan import Scan

ELSEWHERE = Address("192.0.2.23", 47801)
BOARD = str(GROUP)
COAP_GROUP = Address("224.0.1.187", 5683)


def scanned(*heard, of: Rack | None = None):
    """Scan on paper; heard are (ms, from where, octets)."""
    scan = Scan(of or rack(), ms(0))
    queue = sorted(heard, key=lambda each: each[0])
    for at, source, octets in queue:
        while (wakeup := scan.next_wakeup()) is not None and wakeup < ms(at):
            scan.tick(wakeup)
        scan.receive(Packet(BOARD, source, octets), ms(at))
    while (wakeup := scan.next_wakeup()) is not None:
        scan.tick(wakeup)
    return scan


def rows(scan):
    return [(each.address, each.number, each.serial, len(each.rounds)) for each in scan.sightings]


def test_every_round_asks_the_group_and_every_address():
    scan = Scan(rack(), ms(0))
    first = [(packet.peer, packet.payload[0]) for packet in scan.take_sends()]
    scan.tick(ms(99))
    early = scan.take_sends()
    scan.tick(ms(100))
    second = scan.take_sends()
    for at in (200, 300):
        scan.tick(ms(at))
    third = scan.take_sends()

    assert first == [(GROUP, 0x51), (SERVO_AT, 0x21), (FAN_AT, 0x21)]
    assert early == ()
    assert (len(second), len(third)) == (3, 3)
    assert (scan.done, scan.next_wakeup()) == (True, None)


def test_it_asks_for_readings_and_for_nothing_else():
    scan = Scan(rack(), ms(0))
    operations = {packet.payload[4] for packet in scan.take_sends() if packet.payload[0] == 0x21}

    assert operations == {SERVO.read}


def test_a_late_computer_has_as_many_rounds_each_as_long():
    scan = Scan(rack(), ms(0))
    scan.tick(ms(170))

    assert scan.next_wakeup() == ms(270)


def test_requests_have_numbers_of_their_own():
    scan = Scan(rack(), ms(0))
    numbers = [p.payload[2:4].hex() for p in scan.take_sends() if p.payload[0] == 0x21]

    assert numbers == ["7001", "7002"]  # a run counts from 1, its guard from 0x8000


def test_rounds_are_merged_and_counted():
    scan = scanned(
        (5, SERVO_AT, told(SERVO)),
        (105, SERVO_AT, told(SERVO, sequence=1)),
        (6, FAN_AT, told(FAN)),
        (7, FAN_AT, told(FAN, sequence=1)),
    )

    assert rows(scan) == [(SERVO_AT, 17, "S-0042", 2), (FAN_AT, 18, "S-0007", 1)]


def test_an_announce_and_a_reading_of_one_node_are_one_sighting():
    scan = scanned((5, SERVO_AT, told(SERVO)), (8, SERVO_AT, announce(17, "S-0042", kind="servo")))
    (seen,) = scan.sightings

    assert (list(seen.ways), seen.more) == (["asked", "announced"], {"type": "servo"})


def test_an_announce_by_another_port_of_the_host_is_the_same_node():
    other = SERVO_AT._replace(port=50_001)
    scan = scanned((5, SERVO_AT, told(SERVO)), (8, other, announce(17, "S-0042")))

    assert rows(scan) == [(SERVO_AT, 17, "S-0042", 1)]


def test_two_boards_at_one_address_are_two_sightings():
    scan = scanned((5, SERVO_AT, told(SERVO)), (8, SERVO_AT, told(SERVO, "S-0077", sequence=1)))

    assert rows(scan) == [(SERVO_AT, 17, "S-0042", 1), (SERVO_AT, 17, "S-0077", 1)]


def test_a_boot_count_that_rises_between_rounds_is_a_reboot():
    scan = scanned((5, SERVO_AT, told(SERVO, boots=3)), (205, SERVO_AT, told(SERVO, boots=4)))

    assert scan.sightings[0].restarts == ["rebooted by round 3: boot count 4, was 3"]


def test_our_own_question_is_heard_and_passed_over():
    scan = Scan(rack(), ms(0))
    question = scan.take_sends()[0].payload
    scan.receive(Packet(BOARD, Address("192.0.2.1", 50_000), question), ms(1))

    assert (scan.sightings, scan.odd) == ([], {})


def test_what_nobody_understands_is_told_once():
    scan = scanned((5, ELSEWHERE, b"\x01\x02"), (6, ELSEWHERE, b"\x03\x04"))

    assert list(scan.odd) == ["192.0.2.23:47801 sent 2 octets that no layout here explains"]


def test_all_coap_nodes_are_asked_as_the_rfc_has_it():
    asked = rack(discovery=replace(DISCOVERY, coap=True))
    packet = Scan(asked, ms(0)).take_sends()[-1]
    message = decode(packet.payload)

    # RFC 7252 §12.8: 224.0.1.187, §8.1: non-confirmable, §5.10: Uri-Path is option 11;
    # RFC 6690 §4: /.well-known/core
    assert packet.peer == COAP_GROUP
    assert (message.type, message.code) == (Type.NON_CONFIRMABLE, 1)
    assert message.options == ((11, b".well-known"), (11, b"core"))


def test_over_ipv6_the_group_is_link_local_and_in_the_racks_zone():
    six = replace(SERVO, address=Address("fe80::17%eth1", 5683))
    asked = rack(six, discovery=replace(DISCOVERY, coap=True), host="fe80::1%eth1")

    assert Scan(asked, ms(0)).take_sends()[-1].peer == Address("ff02::fd%eth1", 5683)


@pytest.mark.parametrize(
    ("code", "token", "payload", "seen"),
    [
        (0x45, TOKEN, b'</temp>;rt="temperature-c"', True),
        (0x45, b"else", b"</temp>", False),
        (0x84, TOKEN, b"", False),
        (0x45, TOKEN, b"no links", False),
        (0x45, TOKEN, b"\xff", False),
    ],
)
def test_a_coap_node_is_who_answers_with_links(code, token, payload, seen):
    asked = rack(discovery=replace(DISCOVERY, coap=True))
    octets = encode(Message(Type.NON_CONFIRMABLE, code, 9, token + b"\0", (), payload))
    scan = scanned((250, ELSEWHERE, octets), of=asked)

    assert [each.resources for each in scan.sightings] == (
        [('</temp>;rt="temperature-c"',)] if seen else []
    )
    assert [each.rounds for each in scan.sightings] == ([{0}] if seen else [])


def test_everybody_may_answer_at_leisure():
    # DEFAULT_LEISURE is 5 s (RFC 7252 §8.2)
    scan = Scan(rack(discovery=replace(DISCOVERY, coap=True)), ms(0))
    for at in (100, 200):
        scan.tick(ms(at))

    assert scan.next_wakeup() == ms(5200)


def test_a_rack_without_discovery_is_asked_at_its_addresses():
    scan = Scan(rack(discovery=None), ms(0))

    assert scan.questions() == ["`read` to 2 addresses of the bench file"]
    assert [packet.peer for packet in scan.take_sends()] == [SERVO_AT, FAN_AT]


@given(st.lists(st.binary(max_size=40), max_size=8))
def test_no_octets_whatever_raise_anything(payloads):
    heard = [(n, ELSEWHERE, octets) for n, octets in enumerate(payloads)]

    assert scanned(*heard, of=rack(discovery=replace(DISCOVERY, coap=True))).done


def test_a_scan_obeys_the_laws_of_machines():
    things = [
        (ms(5), Packet("servo", SERVO_AT, told(SERVO))),
        (ms(100), Packet("servo", SERVO_AT, told(SERVO, boots=2))),
        (ms(299), Packet(BOARD, ELSEWHERE, announce(0x11, "S-0666"))),
        (ms(300), Packet("fan", FAN_AT, told(FAN))),
    ]

    obey(
        lambda: Scan(rack(), Instant(0)),
        things,
        ms(400),
        lambda scan: (rows(scan), scan.done, [each.restarts for each in scan.sightings]),
    )
