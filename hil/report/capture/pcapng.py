"""The pcapng file format, as far as captures of datagrams need it: written plain, read with care.

    Section Header │ Interface Description │ Enhanced Packet, Enhanced Packet, …

Written little-endian, with nanosecond stamps.  Read in either octet order, with any resolution, several
interfaces and sections; blocks of other kinds are passed over, a file that was cut short gives what
is whole.  The older pcap format is read as well.
Source: IETF draft-ietf-opsawg-pcapng, §§ 3.1, 3.5, 4.1 to 4.3; draft-ietf-opsawg-pcap § 4, § 5.
"""

import struct
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from enum import IntEnum

SECTION, INTERFACE, SIMPLE, ENHANCED = 0x0A0D0D0A, 1, 3, 6
MAGIC = 0x1A2B3C4D
_COMMENT, _NAME, _RESOLUTION, _OFFSET, _FLAGS = 1, 2, 9, 14, 2
_APPLICATION, _HARDWARE = 4, 2
_PCAP = {0xA1B2C3D4: 1_000, 0xA1B23C4D: 1}


class LinkType(IntEnum):
    """What a captured packet begins with (the IANA-style list of pcap link types)."""

    ETHERNET = 1
    RAW = 101
    LOOP = 0
    LINUX_COOKED = 113
    LINUX_COOKED_2 = 276


class Way(IntEnum):
    """The direction of a packet as its flags tell it, bits 0 and 1."""

    UNKNOWN = 0
    IN = 1
    OUT = 2


LATEST = (1 << 64) - 1
"""The last instant that a packet can have, in nanoseconds since 1970; the first is 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured:
    """One packet: its instant in nanoseconds since 1970, its octets from the link type on."""

    at: int
    octets: bytes
    link: int = LinkType.RAW
    way: Way = Way.UNKNOWN
    comment: str = ""
    interface: str = ""


Cut = Callable[[int], object]
"""Is told how many octets at the end of a file belong to nothing whole."""


class NoCapture(ValueError):
    """The octets are no capture file; the text says why."""


def begin(interface: str, comment: str, tool: str) -> bytes:
    """Return what a file begins with: one section with one interface of raw IP packets."""
    section = struct.pack("<IHHq", MAGIC, 1, 0, -1)
    head = _block(SECTION, section, [(_COMMENT, _text(comment)), (_APPLICATION, _text(tool))])
    described = struct.pack("<HHI", LinkType.RAW, 0, 0)
    options = [(_NAME, _text(interface)), (_RESOLUTION, b"\x09")]
    return head + _block(INTERFACE, described, options)


def packet(captured: Captured) -> bytes:
    """Return the block of one packet on the interface."""
    octets = captured.octets
    high, low = divmod(captured.at, 1 << 32)
    body = struct.pack("<IIIII", 0, high, low, len(octets), len(octets)) + _padded(octets)
    options = [(_FLAGS, struct.pack("<I", captured.way))] if captured.way else []
    if captured.comment:
        options.append((_COMMENT, _text(captured.comment)))
    return _block(ENHANCED, body, options)


def _text(text: str) -> bytes:
    return text.encode("utf-8", "backslashreplace")[:65_535]


def _block(kind: int, body: bytes, options: list[tuple[int, bytes]]) -> bytes:
    told = b"".join(
        struct.pack("<HH", code, len(value)) + _padded(value) for code, value in options
    )
    end = b"\0\0\0\0" if options else b""
    size = struct.pack("<I", 12 + len(body) + len(told) + len(end))
    return struct.pack("<I", kind) + size + body + told + end + size


def _padded(octets: bytes) -> bytes:
    return octets + bytes(-len(octets) % 4)


# --- reading -----------------------------------------------------------------------------------


@dataclass(slots=True)
class _Interface:
    link: int
    per_second: int
    name: str
    offset: int


def read(octets: bytes, cut: Cut = lambda left: None) -> Iterator[Captured]:
    """Yield every packet of a capture file, pcapng or pcap.  Raises NoCapture.

    A file that ends in the middle of something tells `cut` how many octets were left over.
    """
    if len(octets) >= 4 and struct.unpack_from("<I", octets)[0] == SECTION:
        end = yield from _read_blocks(octets)
    else:
        for order in "<>":
            head = octets[:24]
            if len(head) == 24 and (unit := _PCAP.get(struct.unpack_from(f"{order}I", head)[0])):
                end = yield from _read_pcap(octets, order, unit)
                break
        else:
            raise NoCapture("it begins as neither a pcapng nor a pcap file does")
    if end < len(octets):
        cut(len(octets) - end)


def _read_pcap(octets: bytes, order: str, unit: int) -> Generator[Captured, None, int]:
    """Yield the packets; return where what is whole ends."""
    link = struct.unpack_from(f"{order}I", octets, 20)[0] & 0x0FFF_FFFF
    place = 24
    while place + 16 <= len(octets):
        seconds, fraction, size, _ = struct.unpack_from(f"{order}IIII", octets, place)
        if place + 16 + size > len(octets):
            break
        place += 16
        at = seconds * 1_000_000_000 + fraction * unit
        yield Captured(at=at, octets=octets[place : place + size], link=link)
        place += size
    return place


def _read_blocks(octets: bytes) -> Generator[Captured, None, int]:
    """Yield the packets; return where what is whole ends."""
    place, order = 0, "<"
    interfaces: list[_Interface] = []
    while place + 12 <= len(octets):
        (kind,) = struct.unpack_from(f"{order}I", octets, place)
        if kind == SECTION:
            order = _order(octets, place)
            interfaces = []
        (size,) = struct.unpack_from(f"{order}I", octets, place + 4)
        if size < 12 or size % 4 or place + size > len(octets):
            break
        body = octets[place + 8 : place + size - 4]
        if kind == INTERFACE and len(body) >= 8:
            interfaces.append(_interface(body, order))
        elif kind == ENHANCED and len(body) >= 20:
            found = _enhanced(body, order, interfaces)
            if found is not None:
                yield found
        place += size
    return place


def _order(octets: bytes, place: int) -> str:
    for order in "<>":
        if struct.unpack_from(f"{order}I", octets, place + 8)[0] == MAGIC:
            return order
    raise NoCapture("its section header has no octet order")


def _interface(body: bytes, order: str) -> _Interface:
    (link,) = struct.unpack_from(f"{order}H", body)
    found = _Interface(link, 1_000_000, "", 0)
    for code, value in _options(body[8:], order):
        if code == _RESOLUTION and value:
            power = value[0] & 0x7F
            found.per_second = 1 << power if value[0] & 0x80 else 10 ** min(power, 30)
        elif code == _NAME:
            found.name = value.decode("utf-8", "replace")
        elif code == _OFFSET and len(value) == 8:
            (found.offset,) = struct.unpack(f"{order}q", value)
    return found


def _enhanced(body: bytes, order: str, interfaces: list[_Interface]) -> Captured | None:
    number, high, low, size, _ = struct.unpack_from(f"{order}IIIII", body)
    if number >= len(interfaces) or 20 + size > len(body):
        return None
    interface = interfaces[number]
    told = dict(_options(body[20 + size + (-size % 4) :], order))
    flags = told.get(_FLAGS, b"")
    way = struct.unpack(f"{order}I", flags)[0] & 3 if len(flags) == 4 else 0
    units = (high << 32) + low
    return Captured(
        at=units * 1_000_000_000 // interface.per_second + interface.offset * 1_000_000_000,
        octets=body[20 : 20 + size],
        link=interface.link,
        way=Way(way) if way < 3 else Way.UNKNOWN,
        comment=told.get(_COMMENT, b"").decode("utf-8", "replace"),
        interface=interface.name,
    )


def _options(octets: bytes, order: str) -> Iterator[tuple[int, bytes]]:
    place = 0
    while place + 4 <= len(octets):
        code, size = struct.unpack_from(f"{order}HH", octets, place)
        place += 4
        if code == 0 or place + size > len(octets):
            return
        yield code, octets[place : place + size]
        place += size + (-size % 4)
