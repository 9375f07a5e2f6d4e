"""IP and UDP headers around a datagram: made for a capture, taken off one.

Source: RFC 791 § 3.1, RFC 8200 § 3 and § 8.1, RFC 768, RFC 1071.
"""

import ipaddress
import struct
from functools import lru_cache
from typing import NamedTuple

from hil.report.capture.pcapng import LinkType
from hil.wire.rack import Address

_UDP = 17
_LIFE = 64
_ETHER_TYPES = {0x0800, 0x86DD}
_TAGS = {0x8100, 0x88A8}
_EXTENSIONS = {0, 43, 60}


class Carried(NamedTuple):
    """A UDP datagram with its two addresses; `whole` is False for a fragment."""

    source: Address
    destination: Address
    payload: bytes


def wrap(source: Address, destination: Address, payload: bytes, number: int) -> bytes:
    """Return an IP packet with a UDP datagram, both checksums right; `number` tells packets apart.

    Raises ValueError where the addresses are not of one family.
    """
    size, packed = 8 + len(payload), _packed(source.host, destination.host)
    udp = struct.pack(">HHHH", source.port, destination.port, size, 0) + payload
    if len(packed) == 8:
        pseudo = packed + struct.pack(">BBH", 0, _UDP, size)
        check = struct.pack(">H", _sum(pseudo + udp) or 0xFFFF)
        head = struct.pack(">BBHHHBBH", 0x45, 0, 20 + size, number & 0xFFFF, 0x4000, _LIFE, _UDP, 0)
        total = struct.pack(">H", _sum(head + packed))
        return head[:10] + total + packed + udp[:6] + check + payload
    pseudo = packed + struct.pack(">II", size, _UDP)
    check = struct.pack(">H", _sum(pseudo + udp) or 0xFFFF)
    head = struct.pack(">IHBB", 0x6000_0000, size, _UDP, _LIFE)
    return head + packed + udp[:6] + check + payload


@lru_cache(maxsize=1024)
def _packed(source: str, destination: str) -> bytes:
    """Return the octets of two addresses; a run has few pairs, and each in every other packet."""
    ends = [ipaddress.ip_address(each.partition("%")[0]) for each in (source, destination)]
    if ends[0].version != ends[1].version:
        raise ValueError(f"{source} and {destination} are not of one family")
    return ends[0].packed + ends[1].packed


def unwrap(octets: bytes, link: int) -> Carried | None:
    """Return the UDP datagram of a captured packet; None for anything else, and for fragments."""
    packet = _strip(octets, link)
    if not packet:
        return None
    return _version_4(packet) if packet[0] >> 4 == 4 else _version_6(packet)


def _strip(octets: bytes, link: int) -> bytes:
    """Take off what stands before the IP header."""
    match link:
        case LinkType.RAW | 12 | 14 | 228 | 229:
            return octets
        case LinkType.LOOP:
            return octets[4:]
        case LinkType.LINUX_COOKED:
            return octets[16:] if _ip(octets[14:16]) else b""
        case LinkType.LINUX_COOKED_2:
            return octets[20:] if _ip(octets[:2]) else b""
        case LinkType.ETHERNET:
            place = 12
            while int.from_bytes(octets[place : place + 2], "big") in _TAGS:
                place += 4
            return octets[place + 2 :] if _ip(octets[place : place + 2]) else b""
    return b""


def _ip(kind: bytes) -> bool:
    return int.from_bytes(kind, "big") in _ETHER_TYPES


def _version_4(packet: bytes) -> Carried | None:
    if len(packet) < 20:
        return None
    size, fragment, kind = (packet[0] & 15) * 4, packet[6] & 0x3F or packet[7], packet[9]
    if kind != _UDP or fragment or size < 20:
        return None
    total = int.from_bytes(packet[2:4], "big") or len(packet)
    return _datagram(packet[12:16], packet[16:20], packet[size:total])


def _version_6(packet: bytes) -> Carried | None:
    if len(packet) < 40 or packet[0] >> 4 != 6:
        return None
    kind, place = packet[6], 40
    end = 40 + int.from_bytes(packet[4:6], "big")
    while kind in _EXTENSIONS and place + 2 <= len(packet):
        kind, place = packet[place], place + 8 + 8 * packet[place + 1]
    return _datagram(packet[8:24], packet[24:40], packet[place:end]) if kind == _UDP else None


def _datagram(source: bytes, destination: bytes, udp: bytes) -> Carried | None:
    if len(udp) < 8:
        return None
    first, second, size, _ = struct.unpack_from(">HHHH", udp)
    if not 8 <= size <= len(udp):
        return None
    hosts = [str(ipaddress.ip_address(octets)) for octets in (source, destination)]
    return Carried(Address(hosts[0], first), Address(hosts[1], second), udp[8:size])


def _sum(octets: bytes) -> int:
    """Return the Internet checksum (RFC 1071)."""
    total: int = sum(struct.unpack(f">{(len(octets) + 1) // 2}H", octets + bytes(len(octets) % 2)))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return 0xFFFF - total
