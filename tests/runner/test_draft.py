"""A draft of a bench file: whatever a scan found, our own reader takes it."""

import ipaddress
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from wire.boards import ANNOUNCE, ASK, DISCOVERY, FAN, FAN_AT, SERVO_AT, rack
from wire.racks import CRC_A, crc

from hil.files.read import read_rack, read_rack_text
from hil.runner.draft import FILL_IN, draft
from hil.wire.announce import Discovery, nobodys
from hil.wire.comparison import Comparison
from hil.wire.rack import Address, Carries, Example, Field, Layout, Role
from hil.wire.sighting import Sighting


def exemplified(layout):
    """Return a layout with an example, as every layout of a bench file has one."""
    kind = Decimal(layout.fields[0].constant)
    example = Example(raw=nobodys(layout).encode(node=7), values={"kind": kind})
    return replace(layout, examples=(example,))


RACK = replace(
    rack(), discovery=replace(DISCOVERY, announce=exemplified(ANNOUNCE), ask=exemplified(ASK))
)


def written(*sightings):
    return draft(RACK, Comparison(RACK, sightings, 3), "draft.yaml")


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


def test_how_nodes_are_found_stays_as_it_is():
    annexe = read_rack(Path(__file__).parents[2] / "fixtures" / "annexe.yaml")
    again = read(draft(annexe, Comparison(annexe, (), 3), "draft.yaml"))

    assert again.discovery == annexe.discovery != None  # noqa: E711


FIELDS = (
    Field(name="kind", form="u16", size=2, carries=Carries.CONSTANT, constant=0x52, order=(1, 0)),
    Field(name="mark", form="text", size=4, carries=Carries.CONSTANT, constant=b"AB\0\0"),
    Field(name="tail", form="bytes", size=2, carries=Carries.CONSTANT, constant=b"\x01\xff"),
    Field(name="low", form="i8", size=1, carries=Carries.CONSTANT, constant=-2),
    Field(name="node", form="u8", size=1, carries=Carries.NODE),
    Field(name="up", form="u32", size=4, carries=Carries.UPTIME, order=(2, 3, 0, 1), tick=1_500),
    Field(name="what", form="u8", size=1, labels={0: "fan", 1: "servo: two"}),
    Field(name="", form="pad", size=3, carries=Carries.PADDING),
    Field(
        name="",
        form="bits",
        size=2,
        order=(1, 0),
        parts=(
            (Field(name="spare", form="u16", size=2), 0, 9),
            (Field(name="lives", form="u16", size=2, carries=Carries.BOOTS), 9, 7),
        ),
    ),
    crc(replace(CRC_A, reflect_in=True, reflect_out=True, check=0x6F91)),
)


def fields(layout):
    """Return the fields of a layout; big-endian may be said by saying nothing."""
    big = [tuple(range(field.size)) for field in layout.fields]
    return [
        replace(field, order=() if field.order == order else field.order)
        for field, order in zip(layout.fields, big, strict=True)
    ]


def test_every_kind_of_field_is_written_as_it_is_read():
    announce = exemplified(
        Layout(name="all", role=Role.ANNOUNCE, fields=FIELDS, append_allowed=True)
    )
    whole = replace(RACK, discovery=replace(DISCOVERY, announce=announce, ask=None, coap=True))
    text = draft(whole, Comparison(whole, (), 3), "draft.yaml")

    again = read(text).discovery.announce
    assert fields(again) == fields(announce)
    assert again.append_allowed and "append-allowed" not in text.replace("append-allowed: yes", "")


def test_a_draft_without_discovery_has_none():
    bare = replace(RACK, discovery=Discovery())  # as a scan has it where the file says nothing
    text = draft(bare, Comparison(bare, (), 3), "draft.yaml")

    assert "discovery" not in text
    assert read(text).discovery is None


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


def test_the_texts_of_a_coap_node_are_its_signals():
    links = (
        "</sensors/soil>;ct=0;obs",
        '</mat>;ct="0 50"',
        "</air>;ct=60",
        "</inject/soil>",
        "</1/2>;ct=0",
        "</a b>;ct=0",
        "</&a>;ct=0",
        "</!b>;ct=0",
        "</null>;ct=0",
        "no link",
    )
    address = Address("192.0.2.50", 5683)
    text = written(seen(address, None, "B-1", "1.2", resources=links))
    node = next(node for node in read(text).nodes if node.address == address)

    assert [signal.name for signal in node.signals] == ["sensors.soil", "mat", "null"]
    assert [str(each.place) for each in node.coap.resources] == [
        "/sensors/soil",
        "/mat",
        "/null",
    ]
    assert not node.layouts
    assert "# serial: B-1   # fill in: with `serial: PATH` under `coap`" in text


def test_where_a_known_coap_node_tells_who_it_is_stays_known():
    rack = read_rack(Path(__file__).parents[2] / "fixtures" / "propagator.yaml")
    bed = seen(rack.nodes[0].address, None, "PG-0101", "1.2.0", resources=("</mode>;ct=0",))
    again = read(draft(rack, Comparison(rack, [bed], 3), "draft.yaml")).nodes[0]

    assert (again.identity.serial, again.identity.firmware) == ("PG-0101", ">= 1.2.0")
    assert {name for each in again.coap.resources for name in each.facts} == {"serial", "firmware"}


WORDS = st.text(max_size=12)
LINKS = st.builds(
    "<{}>;ct={}".format, st.text("/ab1.%?-", max_size=8), st.sampled_from(["0", "40", '"0 50"'])
)
HOSTS = st.ip_addresses().map(str).filter(lambda text: not ipaddress.ip_address(text).is_multicast)
SIGHTINGS = st.lists(
    st.builds(
        Sighting,
        address=st.builds(Address, HOSTS, st.integers(1, 65_535)),
        number=st.none() | st.integers(0, 300),
        serial=WORDS,
        firmware=WORDS,
        rounds=st.just({0}),
        resources=st.lists(WORDS | LINKS, max_size=3).map(tuple),
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
