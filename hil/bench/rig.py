"""Bring-up of a wall bench: is the interface there, is the address on it, can sockets be bound.

Everything that can be wrong is said in a sentence, before anything moves.  What may only need a
moment (an address that is still being set up) is tried again a counted number of times; nothing
is ever tried again while a run judges.
"""

import errno
import ipaddress
import socket
from pathlib import Path

import netifaces
from tenacity import Retrying, retry_if_exception, stop_after_attempt, wait_fixed

from hil.bench.interrupt import Interrupts
from hil.bench.wall import RECEIVE_BUFFER, WallBench
from hil.core.error import BenchError
from hil.wire.rack import Rack

ATTEMPTS = 10
PAUSE_SECONDS = 0.2
IFF_UP = 1  # linux/if.h

Ip = ipaddress.IPv4Address | ipaddress.IPv6Address

_PASSING = frozenset({errno.EADDRNOTAVAIL, errno.EADDRINUSE, errno.ENETDOWN, errno.ENETUNREACH})


def open_wall(
    rack: Rack,
    *,
    interrupts: Interrupts | None = None,
    receive_buffer: int = RECEIVE_BUFFER,
    attempts: int = ATTEMPTS,
) -> WallBench:
    """Open the wall bench of a rack.  Raises BenchError with a sentence."""
    check_interface(rack)
    trying = Retrying(
        retry=retry_if_exception(lambda error: getattr(error, "errno", None) in _PASSING),
        stop=stop_after_attempt(attempts),
        wait=wait_fixed(PAUSE_SECONDS),
        reraise=True,
    )
    try:
        return trying(WallBench, rack, interrupts=interrupts, receive_buffer=receive_buffer)
    except OSError as error:
        raise BenchError(
            f"no socket can be opened at {rack.host} on {rack.interface}: "
            f"{(error.strerror or str(error)).lower()}"
        ) from error


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
    here = _addresses(name)
    host = _ip(rack.host)
    if not any(_covers(address, host) for address in here):
        shown = ", ".join(map(str, here)) or "no address"
        raise BenchError(
            f"{rack.host} is not an address of interface {name}, which has {shown}\n"
            f"    try: set host: to one of them, or give {name} the address"
        )
    for node in rack.nodes:
        _check_route(name, node.name, node.address.host, here)


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
    try:
        return bool(int(Path(f"/sys/class/net/{name}/flags").read_text(), 16) & IFF_UP)
    except (OSError, ValueError):  # not told: opening the sockets will tell
        return True


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
