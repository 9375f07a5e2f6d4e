"""One UDP socket, read to the last octet, with the kernel's own stamps.

Linux only offers some of this by number (asm-generic/socket.h, linux/in.h, linux/in6.h,
linux/errqueue.h, linux/sock_diag.h); Python has no names for them before 3.14.

    SO_TIMESTAMPNS   when the datagram reached the host, CLOCK_REALTIME
    IP_RECVERR       ICMP errors wait in the error queue of the socket they belong to
    SO_MEMINFO       how many datagrams the kernel dropped because the buffer was full

A socket is never shared (no SO_REUSEADDR, no SO_REUSEPORT) and never connected, so that a
datagram from a foreign source is seen.
"""

import contextlib
import errno
import os
import socket
import struct
from collections.abc import Callable
from typing import Any

from hil.core.error import BenchError
from hil.core.instant import Instant
from hil.wire.rack import Address
from hil.wire.zone import zone_of

SO_TIMESTAMPNS = 35
SO_MEMINFO = 55
IP_RECVERR = 11
IPV6_RECVERR = 25
MEMINFO = struct.Struct("=9I")  # the ninth is SK_MEMINFO_DROPS
STAMP = struct.Struct("@ll")  # struct timespec
EXTENDED_ERROR = struct.Struct("=IBBBxII")  # struct sock_extended_err
ORIGIN_LOCAL = 1  # SO_EE_ORIGIN_LOCAL

LARGEST = 65_536  # a UDP datagram has at most 65,535 octets (RFC 768: a 16-bit length)
ANCILLARY = 256
RETRIES = 8  # errors of earlier datagrams that one send may find waiting

SocketAddress = tuple[str, int] | tuple[str, int, int, int]

_buffer = bytearray(LARGEST)
_view = memoryview(_buffer)
_buffers = [_buffer]


def resolve(host: str, port: int, what: str) -> tuple[socket.AddressFamily, SocketAddress]:
    """Return the family and the socket address of an IP address in text; raises BenchError."""
    try:
        found = socket.getaddrinfo(
            host, port, type=socket.SOCK_DGRAM, flags=socket.AI_NUMERICHOST | socket.AI_PASSIVE
        )
    except (OSError, UnicodeError) as error:
        zone = zone_of(host)
        why = f", its zone {zone} is no interface of it" if zone else ""
        raise BenchError(
            f"{what}: {host!r} is no IP address of this computer's kinds{why}"
        ) from error
    family, _, _, _, sockaddr = found[0]
    return family, sockaddr  # type: ignore[return-value]


def address_of(sockaddr: "tuple[Any, ...]") -> Address:
    """Return what a socket address stands for; a link-local one gets the zone it came from."""
    host, port = sockaddr[:2]
    if len(sockaddr) < 4 or not sockaddr[3]:
        return Address(host, port)
    try:
        zone = socket.if_indextoname(sockaddr[3])
    except OSError:  # the interface has gone meanwhile
        zone = str(sockaddr[3])
    return Address(f"{host}%{zone}", port)


class Port:
    """One socket of the bench, bound to `local`; `name` says whose it is.

    With `interface`, what it sends (to a group too) leaves there and nowhere else, whatever the
    routes say, and nothing is received from elsewhere.

    Raises OSError when it cannot be bound.
    """

    __slots__ = ("_known", "_receive", "_targets", "family", "fd", "local", "name", "socket")

    def __init__(
        self,
        name: str,
        host: str,
        port: int = 0,
        *,
        receive_buffer: int | None = None,
        errors: bool = True,
        interface: str = "",
    ) -> None:
        self.name = name
        self.family, local = resolve(host, port, name)
        self.socket = socket.socket(self.family, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
        try:
            self.socket.setblocking(False)
            self._set_options(receive_buffer, errors)
            self._pin(interface)
            self.socket.bind(local)
        except OSError:
            self.socket.close()
            raise
        self.fd = self.socket.fileno()
        self.local = address_of(self.socket.getsockname())
        self._receive = self.socket.recvmsg_into
        self._known: dict[SocketAddress, Address] = {}
        self._targets: dict[Address, SocketAddress] = {}

    def _pin(self, interface: str) -> None:
        """Bind to an interface; where the system reserves that to root, the address must do."""
        if interface:
            with contextlib.suppress(PermissionError):
                name = interface.encode() + b"\0"
                self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, name)

    def know(self, address: Address) -> None:
        """Learn a peer, so that its datagrams bear its address as it was declared."""
        family, sockaddr = resolve(address.host, address.port, self.name)
        if family != self.family:
            raise BenchError(
                f"{self.name}: {address} cannot be reached from {self.local.host}: one is an "
                "IPv4 address, the other an IPv6 address"
            )
        self._known[sockaddr] = address
        self._targets[address] = sockaddr

    def receive(self, instant_of: Callable[[int | None], Instant]) -> "Heard | None":
        """Read one datagram; None when there is none.  Raises OSError for a waiting error."""
        try:
            size, ancillary, _, sockaddr = self._receive(_buffers, ANCILLARY)
        except BlockingIOError:
            return None
        stamp: int | None = None
        for _, kind, octets in ancillary:
            if kind == SO_TIMESTAMPNS:
                seconds, rest = STAMP.unpack(octets)
                stamp = seconds * 1_000_000_000 + rest
        peer = self._known.get(sockaddr)
        if peer is None:
            peer = address_of(sockaddr)
        return peer, bytes(_view[:size]), instant_of(stamp)

    def send(self, payload: bytes, peer: Address) -> str:
        """Send; return why it could not be sent, or nothing.

        An error that an earlier datagram left behind is not this one's: the kernel reports it
        here without sending, so it is sent again.  The error queue keeps the earlier error.
        """
        target = self._targets.get(peer)
        if target is None:
            self.know(peer)
            target = self._targets[peer]
        for _ in range(RETRIES):
            try:
                self.socket.sendto(payload, target)
                return ""
            except ConnectionRefusedError:
                continue
            except OSError as error:
                return f"could not send to {peer}: {_word(error)}"
        return f"could not send to {peer}: port unreachable, again and again"

    def take_errors(self, instant_of: Callable[[int | None], Instant]) -> "list[Error]":
        """Empty the error queue: what the segment said about datagrams sent earlier."""
        errors: list[Error] = []
        while True:
            try:
                _, ancillary, _, sockaddr = self.socket.recvmsg(0, 512, socket.MSG_ERRQUEUE)
            except OSError:  # the queue is empty
                return errors
            stamp, number, origin = None, 0, 0
            for _, kind, octets in ancillary:
                if kind == SO_TIMESTAMPNS:
                    seconds, rest = STAMP.unpack(octets)
                    stamp = seconds * 1_000_000_000 + rest
                elif kind in (IP_RECVERR, IPV6_RECVERR):
                    number, origin, *_ = EXTENDED_ERROR.unpack_from(octets)
            if origin == ORIGIN_LOCAL:
                continue  # `send` has told it already
            peer = self._known.get(sockaddr) or address_of(sockaddr)
            errors.append((_refusal(peer, number), instant_of(stamp)))

    def drops(self) -> int:
        """Return how many datagrams the kernel has dropped at this socket so far."""
        try:
            octets = self.socket.getsockopt(socket.SOL_SOCKET, SO_MEMINFO, MEMINFO.size)
            return int(MEMINFO.unpack(octets)[8])
        except (OSError, struct.error):  # before Linux 4.12
            return 0

    def receive_buffer(self) -> int:
        """Return the real size of the receive buffer, as the kernel counts it."""
        return self.socket.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF)

    def close(self) -> None:
        self.socket.close()

    def _set_options(self, receive_buffer: int | None, errors: bool) -> None:
        if receive_buffer is not None:
            self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
        if self.family == socket.AF_INET6:
            self.socket.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        with contextlib.suppress(OSError):  # the probe at opening finds that no stamp comes
            self.socket.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
        if errors and self.family == socket.AF_INET6:
            self.socket.setsockopt(socket.IPPROTO_IPV6, IPV6_RECVERR, 1)
        elif errors:
            self.socket.setsockopt(socket.IPPROTO_IP, IP_RECVERR, 1)


Heard = tuple[Address, bytes, Instant]
Error = tuple[str, Instant]


def _refusal(peer: Address, number: int) -> str:
    """Say in words what an entry of the error queue means."""
    if number == errno.ECONNREFUSED:
        return f"port {peer.port} of {peer.host} is closed: it answered port unreachable"
    return f"{peer} cannot be reached: {os.strerror(number).lower()}"


def _word(error: OSError) -> str:
    return os.strerror(error.errno).lower() if error.errno else str(error)
