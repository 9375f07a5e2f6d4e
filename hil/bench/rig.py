"""Bring-up of a wall bench: is the interface there, is the address on it, can sockets be bound.

Everything that can be wrong is said in a sentence, before anything moves.  What may only need a
moment (an address that is still being set up) is tried again a counted number of times; nothing
is ever tried again while a run judges.
"""

import errno
import ipaddress
import socket
from collections.abc import Mapping
from pathlib import Path

import netifaces
from tenacity import Retrying, retry_if_exception, stop_after_attempt, wait_fixed

from hil.bench.interrupt import Interrupts
from hil.bench.wall import RECEIVE_BUFFER, WallBench
from hil.core.error import BenchError
from hil.wire.mail import groups_of
from hil.wire.rack import Rack
from hil.wire.zone import bare, in_zone, zone_of

ATTEMPTS = 10
PAUSE_SECONDS = 0.2
IFF_UP, IFF_LOOPBACK, IFF_MULTICAST = 1, 8, 0x1000  # linux/if.h

Ip = ipaddress.IPv4Address | ipaddress.IPv6Address

_PASSING = frozenset({errno.EADDRNOTAVAIL, errno.EADDRINUSE, errno.ENETDOWN, errno.ENETUNREACH})


def open_wall(
    rack: Rack,
    *,
    interrupts: Interrupts | None = None,
    receive_buffer: int = RECEIVE_BUFFER,
    attempts: int = ATTEMPTS,
    devices: Mapping[str, str] | None = None,
) -> WallBench:
    """Open the wall bench of a rack.  Raises BenchError with a sentence.

    `devices` says where the consoles of some nodes are, whatever the bench file says.
    """
    check_interface(rack)
    trying = Retrying(
        retry=retry_if_exception(lambda error: getattr(error, "errno", None) in _PASSING),
        stop=stop_after_attempt(attempts),
        wait=wait_fixed(PAUSE_SECONDS),
        reraise=True,
    )
    try:
        bench = trying(WallBench, rack, interrupts=interrupts, receive_buffer=receive_buffer)
    except OSError as error:
        raise BenchError(
            f"no socket can be opened at {rack.host} on {rack.interface}: "
            f"{(error.strerror or str(error)).lower()}"
        ) from error
    try:
        bench.open_lines(rack, devices or {})
    except BenchError:
        bench.close()
        raise
    return bench


def check_interface(rack: Rack) -> None:
    """See that the rack's interface exists, is up, has the host's address and leads to the nodes.

    Raises BenchError.
    """
    name = rack.interface
    known = [name for _, name in socket.if_nameindex()]
    if name not in known:
        raise BenchError(
            f"this computer has no interface {name}\n    try: one of {', '.join(sorted(known))}"
        )
    if not _is_up(name):
        raise BenchError(f"interface {name} is down\n    try: ip link set {name} up")
    networked = [node for node in rack.nodes if node.address.port]
    for what, text in (("host", rack.host), *((n.name, n.address.host) for n in networked)):
        _check_zone(name, what, text)
    here = _addresses(name)
    host = _ip(rack.host)
    if not any(_covers(address, host) for address in here):
        shown = ", ".join(map(str, here)) or "no address"
        raise BenchError(
            f"{rack.host} is not an address of interface {name}, which has {shown}\n"
            f"    try: set host: to one of them, or give {name} the address"
        )
    groups = [str(group) for group in groups_of(rack)]
    if groups and not _has_groups(name):
        raise BenchError(
            f"interface {name} carries no multicast, and {', '.join(groups)} is listened to\n"
            f"    try: ip link set {name} multicast on"
        )
    for node in networked:
        _check_route(name, node.name, node.address.host, here)


def _check_zone(interface: str, what: str, host: str) -> None:
    """See that the zone of a link-local address is the interface.  Raises BenchError."""
    zone = zone_of(host)
    if zone in ("", interface) or zone == str(socket.if_nametoindex(interface)):
        return
    raise BenchError(
        f"{what}: the zone of {host} is not {interface}, which is number "
        f"{socket.if_nametoindex(interface)}\n    try: {in_zone(bare(host), interface)}"
    )


def _check_route(interface: str, node: str, host: str, here: list[Ip]) -> None:
    """Ask the system which way leads to a node; nothing is sent.  Raises BenchError."""
    address = _ip(host)
    if address.is_link_local:
        return  # leads wherever the interface is
    family = socket.AF_INET if address.version == 4 else socket.AF_INET6
    with socket.socket(family, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect((host, 9))  # any port will do
        except OSError as error:
            raise BenchError(
                f"there is no way to {node} at {host}: {(error.strerror or str(error)).lower()}\n"
                f"    try: give {interface} an address in the network of {host}, or a route to it"
            ) from error
        chosen = _ip(asked.getsockname()[0])
    if not any(_covers(own, chosen) for own in here):
        raise BenchError(
            f"the way to {node} at {host} begins at {chosen}, which is not {interface}\n"
            f"    try: give {interface} an address in the network of {host}, or a route to it"
        )


def _is_up(name: str) -> bool:
    return bool(_flags(name) & IFF_UP)


def _has_groups(name: str) -> bool:
    """Say whether an interface carries group traffic; loopback does, whatever it says."""
    return bool(_flags(name) & (IFF_MULTICAST | IFF_LOOPBACK))


def _flags(name: str) -> int:
    try:
        return int(Path(f"/sys/class/net/{name}/flags").read_text(), 16)
    except (OSError, ValueError):  # not told: opening the sockets will tell
        return IFF_UP | IFF_MULTICAST


def _addresses(name: str) -> list[Ip]:
    found = netifaces.ifaddresses(name)
    entries = [*found.get(netifaces.AF_INET, ()), *found.get(netifaces.AF_INET6, ())]
    return [_ip(entry["addr"]) for entry in entries]


def _covers(address: Ip, host: Ip) -> bool:
    """Say whether the host address is the interface's; all of 127.0.0.0/8 is loopback's."""
    if address == host:
        return True
    return address.is_loopback and host.is_loopback and address.version == host.version == 4


def _ip(text: str) -> Ip:
    try:
        return ipaddress.ip_address(text.partition("%")[0])
    except ValueError as error:
        raise BenchError(f"{text!r} is not an IP address") from error
