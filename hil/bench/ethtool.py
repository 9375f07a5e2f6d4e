"""Asking the kernel about an interface: PLCA, signal quality, counters.  The edge of hil.bus.netlink.

What the kernel or the driver does not offer comes back as a sentence, never as a number.
"""

import array
import errno
import fcntl
import os
import socket
import struct
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Protocol, TypeVar

from hil.bus.netlink import (
    Ask,
    GarbledReply,
    LinkState,
    Plca,
    Reply,
    family_number,
    family_request,
    interface_request,
    link_state,
    plca_change,
    plca_settings,
    plca_status,
    replies,
)

T = TypeVar("T")

GENERIC = 16  # NETLINK_GENERIC, linux/netlink.h
ANSWER_SECONDS = 1.0
NOT_SUPPORTED = "not supported"

SIOCETHTOOL = 0x8946  # linux/sockios.h
SET_INFO, STRINGS = 0x37, 0x1B  # ETHTOOL_GSSET_INFO, ETHTOOL_GSTRINGS, linux/ethtool.h
STATISTICS = {1: 0x1D, 7: 0x4A}  # ETH_SS_STATS: ETHTOOL_GSTATS; ETH_SS_PHY_STATS: ETHTOOL_GPHYSTATS
NAME_OCTETS = 32  # ETH_GSTRING_LEN


class Unanswered(Exception):
    """The kernel did not tell; the message says why in a few words."""


class Channel(Protocol):
    """What carries requests to the kernel and answers back: a netlink socket."""

    def send(self, octets: bytes, /) -> object: ...
    def recv(self, most: int, /) -> bytes: ...
    def close(self) -> None: ...


class Ethtool:
    """A conversation with the kernel.  Raises Unanswered where it cannot be begun."""

    def __init__(self, channel: Channel | None = None) -> None:
        self._sequence = 0
        self._socket = _open() if channel is None else channel
        try:
            number = family_number(self._ask(family_request))
        except (ValueError, Unanswered) as error:
            self._socket.close()
            raise Unanswered(f"{NOT_SUPPORTED}: the kernel has no ethtool family") from error
        self._family = number or 0

    def close(self) -> None:
        self._socket.close()

    def plca(self, interface: str) -> Plca:
        """Return the PLCA settings of an interface.  Raises Unanswered."""
        return self._about(interface, Ask.PLCA_SETTINGS, plca_settings)

    def plca_status(self, interface: str) -> int | None:
        """Return whether PLCA runs: 1, 0, or None where that is not told.  Raises Unanswered."""
        return self._about(interface, Ask.PLCA_STATUS, plca_status)

    def link_state(self, interface: str) -> LinkState:
        """Return the state of the link.  Raises Unanswered."""
        return self._about(interface, Ask.LINK_STATE, link_state)

    def set_plca(self, interface: str, wanted: Plca) -> None:
        """Change the settings that are not None; whether they were taken only reading tells.

        Raises Unanswered.
        """
        self._ask(lambda sequence: plca_change(self._family, sequence, interface, wanted))

    def _about(self, interface: str, ask: Ask, read: Callable[[Reply], T]) -> T:
        reply = self._ask(
            lambda sequence: interface_request(self._family, ask, sequence, interface)
        )
        try:
            return read(reply)
        except GarbledReply as error:
            raise Unanswered(f"the kernel's answer makes no sense: {error}") from error

    def _ask(self, request: Callable[[int], bytes]) -> Reply:
        """Send one request and return what came before its acknowledgement."""
        self._sequence += 1
        try:
            self._socket.send(request(self._sequence))
            told = Reply(sequence=self._sequence, error=0, attributes={})
            for reply in self._replies():
                if reply.sequence != self._sequence:
                    continue  # of a request that was given up
                if reply.error:
                    raise Unanswered(_reason(reply.error))
                if reply.error == 0:
                    return told
                told = reply
        except (OSError, ValueError) as error:
            raise Unanswered(f"the kernel did not answer: {error}") from error
        raise AssertionError("replies never end")

    def _replies(self) -> Iterator[Reply]:
        while True:
            yield from replies(self._socket.recv(65_536))


def _open() -> Channel:
    try:
        opened = socket.socket(socket.AF_NETLINK, socket.SOCK_RAW, GENERIC)
    except (OSError, AttributeError) as error:
        raise Unanswered(f"{NOT_SUPPORTED}: no netlink here ({error})") from error
    opened.settimeout(ANSWER_SECONDS)
    opened.bind((0, 0))
    return opened


def _reason(number: int) -> str:
    reasons = {
        errno.EOPNOTSUPP: NOT_SUPPORTED,
        errno.ENODEV: "there is no such interface",
        errno.EPERM: "not allowed: it needs CAP_NET_ADMIN",
    }
    return reasons.get(number, os.strerror(number).lower())


def kernel_counters(interface: str) -> dict[str, int]:
    """Return the kernel's own counters of an interface that may tell a bus fault."""
    folder = Path("/sys/class/net") / interface / "statistics"
    found = {}
    for name in ("collisions", "rx_crc_errors", "rx_frame_errors", "rx_errors", "tx_errors"):
        try:
            found[name] = int((folder / name).read_text())
        except (OSError, ValueError):
            continue  # not offered
    return found


def driver_counters(interface: str) -> dict[str, int]:
    """Return all counters of the driver and the PHY by the names they give; often there are none."""
    found: dict[str, int] = {}
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        for kind, command in STATISTICS.items():
            try:
                found |= _statistics(asked, interface, kind, command)
            except OSError:
                continue  # not offered
    return found


def _statistics(asked: socket.socket, interface: str, kind: int, command: int) -> dict[str, int]:
    sizes = _call(asked, interface, struct.pack("=IIQI", SET_INFO, 0, 1 << kind, 0))
    (count,) = struct.unpack_from("=I", sizes, 16)
    if not struct.unpack_from("=Q", sizes, 8)[0] or not count:
        return {}
    names = _call(
        asked, interface, struct.pack("=III", STRINGS, kind, count) + bytes(count * NAME_OCTETS)
    )
    values = _call(asked, interface, struct.pack("=II", command, count) + bytes(count * 8))
    words = (
        names[12 + place * NAME_OCTETS :][:NAME_OCTETS].split(b"\0")[0] for place in range(count)
    )
    told = struct.unpack_from(f"={count}Q", values, 8)
    return {
        word.decode(errors="replace").strip(): value
        for word, value in zip(words, told, strict=True)
    }


def _call(asked: socket.socket, interface: str, octets: bytes) -> bytes:
    """Hand a structure to the driver and return what became of it.  Raises OSError."""
    buffer = array.array("B", octets)
    request = struct.pack("16sP", interface.encode(), buffer.buffer_info()[0]) + bytes(16)
    fcntl.ioctl(asked, SIOCETHTOOL, request)
    return buffer.tobytes()
