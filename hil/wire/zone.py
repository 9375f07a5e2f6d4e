"""Zones of link-local IPv6 addresses (RFC 4007 §11): `fe80::1%eth1` is fe80::1 on eth1.

An address of this kind says nothing without its zone, and here the zone is always the interface
that the rack is on.  A zone may be the name of an interface or its number; which name a number
is, only the computer knows.
"""

from ipaddress import IPv6Address, ip_address

from hil.wire.rack import Address


def bare(host: str) -> str:
    """Return an address without its zone.

    >>> bare("fe80::1%eth1"), bare("192.0.2.1")
    ('fe80::1', '192.0.2.1')
    """
    return host.partition("%")[0]


def zone_of(host: str) -> str:
    """Return the zone of an address; empty where it has none."""
    return host.partition("%")[2]


def needs_zone(host: str) -> bool:
    """Say whether an address means something only on one interface: fe80::/10, ff02::/16, ff01::/16."""
    address = ip_address(bare(host))
    if not isinstance(address, IPv6Address):
        return False
    scope = address.packed[1] & 0x0F
    return address.is_link_local or (address.is_multicast and scope in (1, 2))


def in_zone(host: str, interface: str) -> str:
    """Return an address with its zone, which is the interface where it names none."""
    return f"{host}%{interface}" if needs_zone(host) and not zone_of(host) else host


def zone_problem(host: str, interface: str) -> str:
    """Say what is wrong with the zone of an address on this interface; empty where nothing is."""
    zone = zone_of(host)
    if zone and not needs_zone(host):
        return f"only link-local addresses have a zone, {bare(host)} is none"
    if not zone or zone == interface or zone.isdecimal():
        return ""
    return f"the zone {zone} is not the rack's interface {interface}"


def at_home(address: Address, interface: str) -> Address:
    """Return an address with port likewise."""
    return address._replace(host=in_zone(address.host, interface))
