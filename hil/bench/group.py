"""Group traffic, pinned to one interface: joining and sending each have a setting of their own.

Without a name for the interface both follow the default route, which on a bench computer leads
to the office.  Python has no names for all of this (linux/in.h, linux/in6.h):

    IP_ADD_MEMBERSHIP, IP_MULTICAST_IF   struct ip_mreqn: group, address, index of the interface
    IP_MULTICAST_TTL, IPV6_MULTICAST_HOPS   1: a router never passes it on (RFC 1112 §6.1)
    IP_MULTICAST_ALL, IPV6_MULTICAST_ALL    0: only groups that this socket itself has joined

A group's socket may share its port (SO_REUSEADDR): each of them gets a copy of group traffic.
"""

import ipaddress
import socket
import struct

from hil.bench.port import Port, resolve
from hil.core.error import BenchError
from hil.wire.rack import Address
from hil.wire.zone import bare

IP_MULTICAST_ALL = 49
IPV6_MULTICAST_ALL = 29
MREQN = struct.Struct("=4s4si")  # struct ip_mreqn
MREQ6 = struct.Struct("=16sI")  # struct ipv6_mreq
NOWHERE = bytes(4)


class GroupPort(Port):
    """A socket that hears what is sent to a group on one interface.

    `via` is an address of the interface, for those who do not know its name.  Raises OSError when
    it cannot be bound and BenchError when the group cannot be joined.
    """

    __slots__ = ("_group", "_via")

    def __init__(
        self,
        name: str,
        group: Address,
        *,
        interface: str = "",
        via: str = "",
        receive_buffer: int | None = None,
    ) -> None:
        self._group, self._via = group, via
        super().__init__(
            name,
            group.host,
            group.port,
            receive_buffer=receive_buffer,
            errors=False,
            interface=interface,
        )

    def _set_options(self, receive_buffer: int | None, errors: bool) -> None:
        super()._set_options(receive_buffer, errors)
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)

    def _pin(self, interface: str) -> None:
        super()._pin(interface)
        host = ipaddress.ip_address(bare(self._group.host))
        if not host.is_multicast:
            return  # broadcast needs no joining
        where = interface or f"the interface of {self._via}"
        try:
            self._join(host.packed, interface)
        except OSError as error:
            self.socket.close()
            raise BenchError(
                f"{where} cannot join the group {self._group}: {_word(error)}\n"
                f"    try: ip link set {interface or 'INTERFACE'} up multicast on"
            ) from error

    def _join(self, group: bytes, interface: str) -> None:
        made = self.socket
        if self.family == socket.AF_INET:
            made.setsockopt(socket.IPPROTO_IP, IP_MULTICAST_ALL, 0)
            request = MREQN.pack(group, *_place(interface, self._via))
            made.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, request)
        else:
            made.setsockopt(socket.IPPROTO_IPV6, IPV6_MULTICAST_ALL, 0)
            request = MREQ6.pack(group, _index(interface, self._via or self._group.host))
            made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_JOIN_GROUP, request)


def pin_sending(made: socket.socket, interface: str, via: str) -> None:
    """Let what a socket sends to groups leave on one interface only, and go no further.

    `via` is the socket's own address, for where the name is not known.  Raises OSError.
    """
    made.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
    if made.family == socket.AF_INET:
        request = MREQN.pack(NOWHERE, *_place(interface, via))
        made.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, request)
        made.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 1)
    else:
        index = _index(interface, via)
        made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_MULTICAST_IF, index)
        made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_MULTICAST_HOPS, 1)


def _place(interface: str, via: str) -> tuple[bytes, int]:
    """Return address and index for an ip_mreqn; the kernel goes by the index where there is one."""
    if interface:
        return NOWHERE, socket.if_nametoindex(interface)
    return socket.inet_aton(via), 0


def _index(interface: str, via: str) -> int:
    """Return the number of an interface: by its name, or by the zone of an address on it."""
    if interface:
        return socket.if_nametoindex(interface)
    sockaddr = resolve(via, 0, via)[1]
    return sockaddr[3] if len(sockaddr) == 4 else 0


def _word(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
