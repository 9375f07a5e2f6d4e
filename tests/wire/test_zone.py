"""Zones of link-local addresses (RFC 4007 §11)."""

import pytest

from hil.wire.rack import Address
from hil.wire.zone import at_home, bare, in_zone, needs_zone, zone_of, zone_problem


@pytest.mark.parametrize(
    ("host", "needs"),
    [
        # RFC 4291 §2.5.6: link-local unicast is fe80::/10; §2.7: the scope of a group is the
        # low half of its second octet, 1 interface-local and 2 link-local
        ("fe80::1", True),
        ("febf::1", True),
        ("fec0::1", False),
        ("ff02::fd", True),
        ("ff01::1", True),
        ("ff05::fd", False),
        ("2001:db8::1", False),
        ("::1", False),
        ("192.0.2.1", False),
        ("169.254.1.1", False),
        ("239.255.20.20", False),
    ],
)
def test_which_addresses_mean_something_on_one_interface_only(host, needs):
    assert needs is needs_zone(host)
    assert in_zone(host, "eth1") == (f"{host}%eth1" if needs else host)


def test_a_zone_that_is_there_stays():
    assert at_home(Address("fe80::1%2", 47801), "eth1") == Address("fe80::1%2", 47801)
    assert str(at_home(Address("fe80::1", 47801), "eth1")) == "[fe80::1%eth1]:47801"


def test_an_address_comes_apart():
    assert (bare("fe80::1%eth1"), zone_of("fe80::1%eth1")) == ("fe80::1", "eth1")
    assert (bare("fe80::1"), zone_of("fe80::1")) == ("fe80::1", "")


@pytest.mark.parametrize(
    ("host", "problem"),
    [
        ("fe80::1", ""),
        ("fe80::1%eth1", ""),
        ("fe80::1%2", ""),  # only the computer knows which interface that is
        ("fe80::1%eth0", "the zone eth0 is not the rack's interface eth1"),
        ("2001:db8::1%eth0", "only link-local addresses have a zone, 2001:db8::1 is none"),
        ("2001:db8::1%eth1", "only link-local addresses have a zone, 2001:db8::1 is none"),
        ("2001:db8::1%2", "only link-local addresses have a zone, 2001:db8::1 is none"),
    ],
)
def test_a_wrong_zone_is_told(host, problem):
    assert problem == zone_problem(host, "eth1")
