"""How nodes are found, the groups they tell, and zones: what is read, and what is refused."""

from pathlib import Path

import pytest

from hil.core.error import DescriptionError
from hil.core.instant import MILLISECOND
from hil.files.read import read_rack
from hil.wire.rack import Address, Role

ANNEXE = (Path(__file__).parents[2] / "fixtures" / "annexe.yaml").read_text("utf-8")


def read(folder, *changes):
    text = ANNEXE
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    (folder / "bench.yaml").write_text(text, "utf-8")
    return read_rack(str(folder / "bench.yaml"))


def said(folder, *changes):
    with pytest.raises(DescriptionError) as caught:
        read(folder, *changes)
    return str(caught.value)


def test_discovery_is_what_the_file_says(tmp_path):
    found = read(tmp_path).discovery

    assert found.group == Address("239.255.20.20", 47920)
    assert (found.announce.role, found.ask.role) == (Role.ANNOUNCE, Role.ASK)
    assert (found.rounds, found.every, found.coap) == (3, 300 * MILLISECOND, False)


def test_its_mistakes_are_told_together_with_all_others(tmp_path):
    text = said(
        tmp_path,
        ("  ask: who-is-there", "  ask: who-is-ther"),
        ("  rounds: 3", "  rounds: 0"),
        ("    role: announce\n", "    role: anounce\n"),
        ("number: 5", "number: 1"),
    )

    assert "ask: there is no layout `who-is-ther` under `layouts`\n    try: who-is-there" in text
    assert "rounds: 0 is not in 1 to 100" in text
    assert "anounce" in text
    assert "which is that of feedline" in text
    assert "there is no layout `announce`" not in text  # it is there, only wrong


def test_rounds_have_a_default(tmp_path):
    found = read(tmp_path, ("  rounds: 3\n  every: 300 ms\n", "")).discovery

    assert (found.rounds, found.every) == (3, 500 * MILLISECOND)


def test_a_node_names_the_group_of_its_readings(tmp_path):
    nodes = {node.name: node.readings_to for node in read(tmp_path).nodes}

    assert nodes == {
        "feedline": Address("239.255.20.21", 47920),
        "circulator": None,
        "beacon": None,
    }


def test_broadcast_is_a_group_as_well(tmp_path):
    found = read(tmp_path, ("group: 239.255.20.20:47920", "group: 255.255.255.255:47920"))

    assert found.discovery.group == Address("255.255.255.255", 47920)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("group: 239.255.20.20:47920", "group: 192.0.2.1:47920", "group: 192.0.2.1 is no group that several can listen to"),
        ("group: 239.255.20.20:47920", "group: 239.255.20.20", "group: expected an address with a port"),
        ("readings-to: 239.255.20.21:47920", "readings-to: 127.0.0.1:5", "readings-to: 127.0.0.1 is no group"),
        ("announce: announce", "announce: anounce", "announce: there is no layout `anounce` under `layouts`\n    try: announce"),
        ("announce: announce", "announce: request", "announce: the layout `request` has the role `request`\n    try: announce"),
        ("ask: who-is-there", "ask: announce", "ask: the layout `announce` has the role `announce`"),
        ("rounds: 3", "rounds: 0", "rounds: 0 is not in 1 to 100"),
        ("every: 300 ms", "every: 0 ms", "every: expected more than 0 s"),
        ("every: 300 ms", "evry: 300 ms", "has no key `evry`\n    try: every"),
        ("  group: 239.255.20.20:47920   # organisation-local scope (RFC 2365): no router passes it on\n", "", "`announce` goes only with `group`"),
        ("layouts: [request, stamped-answer, beacon-reading]", "layouts: [request, stamped-answer, announce, beacon-reading]", "the layout `announce` belongs under `discovery`"),
        ("requests: {read: 1}", "requests: {read: 1, listen: 9, renew: 2 s}", "`listen` and `readings-to`: a node tells its readings either to askers or to a group"),
        ("{name: node, type: u8, is: node}\n      - {name: uptime, type: u32, is: uptime, tick: 1 ms}\n      - {name: boots", "{name: node, type: u8}\n      - {name: uptime, type: u32, is: uptime, tick: 1 ms}\n      - {name: boots", "the layout `announce` has no field that `is: node`"),
        ("{name: kind, type: u8, constant: 0x51}", "{name: kind, type: u8, is: node}", "a layout of an ask has no `node`"),
    ],
)  # fmt: skip
def test_a_mistake_is_named(tmp_path, old, new, expected):
    assert expected in said(tmp_path, (old, new))


def test_a_discovery_must_find_somebody(tmp_path):
    start, end = ANNEXE.index("discovery:\n"), ANNEXE.index("layouts:\n  who")

    assert "needs `announce` with `group`, or `coap: yes`" in said(
        tmp_path, (ANNEXE[start:end], "discovery: {rounds: 2}\n\n")
    )


SIX = (
    ("interface: lo ", "interface: eth1 "),
    ("host: 127.0.0.1\n", 'host: "fe80::1"\n'),
    ("address: 127.0.0.1:47921", 'address: "[fe80::2]:47921"'),
    ("address: 127.0.0.1:47925", 'address: "[fe80::2%eth1]:47925"'),
    ("address: 127.0.0.1:47927", 'address: "[fe80::2%7]:47927"'),
    ("readings-to: 239.255.20.21:47920", 'readings-to: "[ff02::20]:47920"'),
)


def test_link_local_addresses_get_the_interface_as_their_zone(tmp_path):
    rack = read(tmp_path, *SIX)

    assert rack.host == "fe80::1%eth1"
    assert [str(node.address) for node in rack.nodes] == [
        "[fe80::2%eth1]:47921",
        "[fe80::2%eth1]:47925",
        "[fe80::2%7]:47927",  # a number: which interface that is, only the computer knows
    ]
    assert str(rack.nodes[0].readings_to) == "[ff02::20%eth1]:47920"


def test_the_same_address_with_and_without_its_zone_is_one(tmp_path):
    text = said(tmp_path, *SIX, ("[fe80::2%eth1]:47925", "[fe80::2%eth1]:47921"))

    assert "circulator has the address [fe80::2%eth1]:47921, which is that of feedline" in text


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "[fe80::2%eth1]:47925",
            "[fe80::2%eth0]:47925",
            "address: the zone eth0 is not the rack's interface eth1\n    try: fe80::2%eth1",
        ),
        (
            "[fe80::2%eth1]:47925",
            "[2001:db8::2%eth1]:47925",
            "address: only link-local addresses have a zone, 2001:db8::2 is none",
        ),
        ('host: "fe80::1"', 'host: "fe80::1%wlan0"', "host: the zone wlan0 is not the rack's"),
    ],
)
def test_a_zone_of_another_interface_is_a_mistake(tmp_path, old, new, expected):
    changed = [(declared, wanted.replace(old, new)) for declared, wanted in SIX]

    assert changed != list(SIX)
    assert expected in said(tmp_path, *changed)
