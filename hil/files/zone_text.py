"""Addresses of a bench file with their zones: `[fe80::1%eth1]:47801`, and groups of them.

A link-local address without a zone is on the rack's interface; a zone that names another
interface is a mistake.
"""

from ipaddress import ip_address

from hil.files.leaf import ADDRESS
from hil.files.mistake import Page
from hil.files.tree import Node
from hil.wire.rack import Address
from hil.wire.zone import bare, in_zone, needs_zone, zone_problem


def fill_zone(node: Node, key: str, host: str, interface: str | None, page: Page) -> str:
    """Return the host with its zone; `interface` is None where that could not be read."""
    if interface is None:
        return host
    problem = zone_problem(host, interface)
    if problem:
        hint = f"{bare(host)}%{interface}" if needs_zone(host) else bare(host)
        page.wrong(node, f"{key}: {problem}", hint)
        return host
    return in_zone(host, interface)


def read_place(node: Node, key: str, interface: str | None, page: Page) -> Address | None:
    """Return an address with port and zone; None, with the mistake noted, where it is none."""
    address = ADDRESS.read(node, page, key)
    if address is None:
        return None
    return address._replace(host=fill_zone(node, key, address.host, interface, page))


def read_group(node: Node, key: str, interface: str | None, page: Page) -> Address | None:
    """Return a group with its port; None, with the mistake noted, where it is none."""
    address = read_place(node, key, interface, page)
    if address is None:
        return None
    host = ip_address(bare(address.host))
    if not host.is_multicast and str(host) != "255.255.255.255":
        what = f"{key}: {bare(address.host)} is no group that several can listen to"
        page.wrong(node, what, f"239.255.20.20:{address.port} or 255.255.255.255:{address.port}")
        return None
    return address
