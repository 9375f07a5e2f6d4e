"""Requests to the kernel about an Ethernet interface, and its answers, as octets.

The ethtool family of generic netlink.  This file opens no socket; hil.bench.ethtool does.

    nlmsghdr    length u32, type u16, flags u16, sequence u32, port u32
    genlmsghdr  command u8, version u8, 2 octets of nothing
    attributes  length u16, type u16, value, filled up to 4 octets; nested ones are attributes

All in the byte order of the computer.  Numbers: Linux, include/uapi/linux/netlink.h, genetlink.h
and ethtool_netlink.h; Documentation/networking/ethtool-netlink.rst (PLCA_GET_CFG, LINKSTATE_GET).
An attribute that is not there is None: not offered is not zero.
"""

import struct
from collections.abc import Mapping
from dataclasses import dataclass, fields
from enum import IntEnum

CONTROL, ERROR, DONE = 0x10, 2, 3  # message types
REQUEST, ACK = 0x1, 0x4  # NLM_F_REQUEST, NLM_F_ACK
NESTED, TYPE_MASK = 0x8000, 0x3FFF
FAMILY_NAME = "ethtool"
LONGEST_NAME = 15  # IFNAMSIZ - 1

_MESSAGE, _COMMAND, _ATTRIBUTE = (
    struct.Struct("=IHHII"),
    struct.Struct("=BBH"),
    struct.Struct("=HH"),
)
_ERROR = struct.Struct("=i")


class Ask(IntEnum):
    """What is asked for (ETHTOOL_MSG_*, and CTRL_CMD_GETFAMILY)."""

    FAMILY = 3
    LINK_STATE = 6
    PLCA_SETTINGS = 39
    SET_PLCA = 40
    PLCA_STATUS = 41


@dataclass(frozen=True, slots=True, kw_only=True)
class Plca:
    """PLCA settings of one PHY, counted as the kernel counts them; None where it offers none."""

    version: int | None = None
    enabled: int | None = None
    node_count: int | None = None
    node_id: int | None = None
    to_timer: int | None = None
    burst_count: int | None = None
    burst_timer: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkState:
    """A link: whether it is up, signal quality and its largest value, how often it went down."""

    up: int | None = None
    quality: int | None = None
    largest_quality: int | None = None
    downs: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """One message of the kernel: an error number (0 for done), or attributes."""

    sequence: int
    error: int | None
    attributes: Mapping[int, bytes]


class GarbledReply(ValueError):
    """The kernel's octets are not what they should be."""


_PLCA = {
    "version": (2, 2),
    "enabled": (3, 1),
    "node_count": (5, 4),
    "node_id": (6, 4),
    "to_timer": (7, 4),
    "burst_count": (8, 4),
    "burst_timer": (9, 4),
}
"""ETHTOOL_A_PLCA_*: attribute number and octets; 4 is the status, 1 the header."""
_STATUS = 4
_LINK = {"up": (2, 1), "quality": (3, 4), "largest_quality": (4, 4), "downs": (7, 4)}
"""ETHTOOL_A_LINKSTATE_*."""
_SIZES = {1: "=B", 2: "=H", 4: "=I"}


def family_request(sequence: int) -> bytes:
    """Ask which number the ethtool family has."""
    name = _attribute(2, FAMILY_NAME.encode() + b"\0")  # CTRL_ATTR_FAMILY_NAME
    return _request(CONTROL, Ask.FAMILY, sequence, name)


def interface_request(family: int, ask: Ask, sequence: int, interface: str) -> bytes:
    """Ask something about an interface.  Raises ValueError for a name no interface can have."""
    return _request(family, ask, sequence, _header(interface))


def plca_change(family: int, sequence: int, interface: str, wanted: Plca) -> bytes:
    """Ask to change the settings that are not None.

    The number of versions cannot be set.  Raises ValueError for a name no interface can have.
    """
    body = _header(interface)
    for name, (number, size) in _PLCA.items():
        value = getattr(wanted, name)
        if value is not None and name != "version":
            body += _attribute(number, struct.pack(_SIZES[size], value))
    return _request(family, Ask.SET_PLCA, sequence, body)


def replies(octets: bytes) -> list[Reply]:
    """Take what was received apart.  Raises GarbledReply."""
    found = []
    while octets:
        if len(octets) < _MESSAGE.size:
            raise GarbledReply("a message ends within its header")
        length, kind, _, sequence, _ = _MESSAGE.unpack_from(octets)
        if not _MESSAGE.size <= length <= len(octets):
            raise GarbledReply(f"a message of {length} octets in {len(octets)}")
        found.append(_reply(kind, sequence, octets[_MESSAGE.size : length]))
        octets = octets[_aligned(length) :]
    return found


def family_number(reply: Reply) -> int | None:
    """Return the number of the family that a reply tells."""
    return _number(reply.attributes.get(1), 2)  # CTRL_ATTR_FAMILY_ID


def plca_settings(reply: Reply) -> Plca:
    """Return the settings that a reply tells."""
    return Plca(**_numbers(reply, _PLCA))


def plca_status(reply: Reply) -> int | None:
    """Return 1 where PLCA runs, 0 where it does not, None where that is not offered."""
    return _number(reply.attributes.get(_STATUS), 1)


def link_state(reply: Reply) -> LinkState:
    """Return the state of the link that a reply tells."""
    return LinkState(**_numbers(reply, _LINK))


def differences(wanted: Plca, got: Plca) -> list[tuple[str, int, int | None]]:
    """Return the settings that are wanted and not so: name, wanted, got (None: not offered)."""
    return [
        (part.name, getattr(wanted, part.name), getattr(got, part.name))
        for part in fields(Plca)
        if getattr(wanted, part.name) is not None
        and getattr(wanted, part.name) != getattr(got, part.name)
    ]


def attributes(octets: bytes) -> dict[int, bytes]:
    """Take attributes apart; of a repeated one the last counts.  Raises GarbledReply."""
    found = {}
    while octets:
        if len(octets) < _ATTRIBUTE.size:
            raise GarbledReply("an attribute ends within its header")
        length, number = _ATTRIBUTE.unpack_from(octets)
        if not _ATTRIBUTE.size <= length <= len(octets):
            raise GarbledReply(f"an attribute of {length} octets in {len(octets)}")
        found[number & TYPE_MASK] = octets[_ATTRIBUTE.size : length]
        octets = octets[_aligned(length) :]
    return found


def _reply(kind: int, sequence: int, body: bytes) -> Reply:
    if kind == ERROR:
        if len(body) < _ERROR.size:
            raise GarbledReply("an error without a number")
        return Reply(sequence=sequence, error=-_ERROR.unpack_from(body)[0], attributes={})
    if kind == DONE:
        return Reply(sequence=sequence, error=0, attributes={})
    if len(body) < _COMMAND.size:
        raise GarbledReply("a reply without a command")
    return Reply(sequence=sequence, error=None, attributes=attributes(body[_COMMAND.size :]))


def _numbers(reply: Reply, known: Mapping[str, tuple[int, int]]) -> dict[str, int | None]:
    return {
        name: _number(reply.attributes.get(number), size) for name, (number, size) in known.items()
    }


def _number(octets: bytes | None, size: int) -> int | None:
    if octets is None:
        return None
    if len(octets) != size:
        raise GarbledReply(f"a number of {len(octets)} octets, expected {size}")
    value: int = struct.unpack(_SIZES[size], octets)[0]
    return value


def _header(interface: str) -> bytes:
    name = interface.encode()
    if not 0 < len(name) <= LONGEST_NAME or b"\0" in name:
        raise ValueError(f"no interface can be called {interface!r}")
    return _attribute(1 | NESTED, _attribute(2, name + b"\0"))  # ETHTOOL_A_HEADER_DEV_NAME


def _request(family: int, ask: Ask, sequence: int, body: bytes) -> bytes:
    command = _COMMAND.pack(ask, 1, 0)
    length = _MESSAGE.size + len(command) + len(body)
    return _MESSAGE.pack(length, family, REQUEST | ACK, sequence, 0) + command + body


def _attribute(number: int, value: bytes) -> bytes:
    length = _ATTRIBUTE.size + len(value)
    return _ATTRIBUTE.pack(length, number) + value + bytes(_aligned(length) - length)


def _aligned(length: int) -> int:
    return length + 3 & ~3
