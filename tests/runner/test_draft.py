"""A draft of a bench file: whatever a scan found, our own reader takes it."""

import ipaddress

from hypothesis import given, settings
from hypothesis import strategies as st
from wire.boards import FAN, FAN_AT, SERVO_AT, rack

from hil.files.read import read_rack_text
from hil.runner.draft import FILL_IN, draft
from hil.wire.comparison import Comparison
from hil.wire.rack import Address
from hil.wire.sighting import Sighting


def written(*sightings):
    return draft(rack(), Comparison(rack(), sightings, 3))


def read(text):
    return read_rack_text(text, "draft.yaml")


def seen(address, number, serial="", firmware="", **more):
    return Sighting(
        address=address, number=number, serial=serial, firmware=firmware, rounds={0}, **more
    )


def test_what_was_found_stands_in_it():
    found = read(written(seen(SERVO_AT, 17, "S-0042", "1.10")))
    servo, fan = found.nodes

    assert (found.name, found.interface, found.host) == ("paper-draft", "eth1", "192.0.2.1")
    assert (servo.name, servo.number, servo.address) == ("servo", 17, SERVO_AT)
    assert (servo.identity.serial, servo.identity.firmware) == ("S-0042", ">= 1.10")
    assert (fan.name, fan.address, fan.identity.serial) == ("fan", FAN_AT, "S-0007")


def test_a_human_is_told_what_to_fill_in_and_what_was_not_seen():
    text = written(seen(SERVO_AT, 17, "S-0042", "1.10"))

    assert text.count(FILL_IN) > 8
    assert "  fan:   # not seen by the scan" in text


def test_a_moved_node_stands_where_it_is_now():
    elsewhere = Address("192.0.2.23", 47801)
    text = written(seen(elsewhere, 18, "S-0007"))
    fan = next(node for node in read(text).nodes if node.name == "fan")

    assert fan.address == elsewhere
    assert f"# was {FAN.address}" in text


def test_strangers_get_a_name_and_a_number_of_their_own():
    text = written(
        seen(Address("192.0.2.50", 5683), None, resources=('</temp>;rt="temperature-c"',)),
        seen(Address("192.0.2.51", 47801), 18, "S-0099"),
    )
    names = {node.name: node.number for node in read(text).nodes}

    assert len(names) == len(set(names.values())) == 4
    assert "# it offers </temp>" in text
    assert "speaks CoAP" in text


WORDS = st.text(max_size=12)
HOSTS = st.ip_addresses().map(str).filter(lambda text: not ipaddress.ip_address(text).is_multicast)
SIGHTINGS = st.lists(
    st.builds(
        Sighting,
        address=st.builds(Address, HOSTS, st.integers(1, 65_535)),
        number=st.none() | st.integers(0, 300),
        serial=WORDS,
        firmware=WORDS,
        rounds=st.just({0}),
        resources=st.lists(WORDS, max_size=2).map(tuple),
    ),
    max_size=6,
)


@settings(max_examples=60)
@given(SIGHTINGS)
def test_whatever_nodes_say_the_draft_can_be_read(sightings):
    assert read(written(*sightings)).nodes


def test_quotes_and_backslashes_of_a_serial_number_stay_what_they_are():
    text = written(seen(SERVO_AT, 17, 'S"0\\42'))

    assert (
        next(node for node in read(text).nodes if node.name == "servo").identity.serial == 'S"0\\42'
    )
