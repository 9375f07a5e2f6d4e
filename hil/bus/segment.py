"""The sizes of what travels on a shared segment (hil.wire.segment says what that is).

Counted in bit times (bt) and octets; a bit time is a whole number of nanoseconds.

    preamble + SFD | destination ... FCS | ESD | gap
       8 octets    |  64 to 1518 octets  |  1  | 96 bt       wire = all but the gap

Convention: a frame on 10BASE-T1S carries one end-of-stream delimiter octet (`esd`), which
classic Ethernet does not have; a 64-octet turn is 68.0 µs with it and 67.2 µs without.
"""

from functools import lru_cache

from hil.wire.segment import (
    DEFAULT_BURST_TIMER,
    DEFAULT_COUNT,
    DEFAULT_TO_TIMER,
    Cable,
    Participant,
    Segment,
    Traffic,
)

__all__ = [
    "DEFAULT_BURST_TIMER",
    "DEFAULT_COUNT",
    "DEFAULT_TO_TIMER",
    "Cable",
    "Participant",
    "Segment",
    "Traffic",
]

GAP_BT = 96  # interpacket gap, IEEE 802.3 table 4-2
BEACON_BT = 20  # IEEE 802.3cg-2019 148.4.4.4, as quoted in INET's EthernetPlca.ned
PREAMBLE = 8  # octets, with the start-of-frame delimiter; INET worstcase.ini
SMALLEST_FRAME, LARGEST_FRAME = 64, 1518  # octets, untagged, with FCS; INET showcase tenbaset1s
FRAMING = 14 + 4  # octets of MAC header and FCS
UDP_HEADER, IP_HEADERS = 8, {4: 20, 6: 40}  # RFC 768, RFC 791 §3.1, RFC 8200 §3
LARGEST_PACKET = 1500  # octets of IP packet in an untagged frame, RFC 894
LARGEST_DATAGRAM = 65_507  # octets of UDP payload over IPv4: 65535 - 20 - 8

DISABLED_ID = 255  # 30.16.1.1.4: switches PLCA off; the largest usable id is 254


def frame_octets(payload: int, ip: int = 4) -> int:
    """Return the size of the frame that carries a whole UDP payload, destination address to FCS.

    >>> [frame_octets(payload) for payload in (1, 18, 19, 1472)]
    [64, 64, 65, 1518]
    """
    return max(SMALLEST_FRAME, FRAMING + IP_HEADERS[ip] + UDP_HEADER + payload)


@lru_cache(maxsize=4096)
def frames_of(payload: int, ip: int = 4) -> tuple[int, ...]:
    """Return the sizes of the frames a UDP payload takes, fragmented where one is too small.

    Fragments carry multiples of 8 octets (RFC 791 §3.2); over IPv6 each has a fragment header
    of 8 octets (RFC 8200 §4.5).  Raises ValueError for a payload no datagram can hold.
    """
    if not 0 <= payload <= LARGEST_DATAGRAM:
        raise ValueError(f"a UDP datagram holds 0 to {LARGEST_DATAGRAM} octets, not {payload}")
    whole = frame_octets(payload, ip)
    if whole <= LARGEST_FRAME:
        return (whole,)
    header = IP_HEADERS[ip] + (8 if ip == 6 else 0)
    room = (LARGEST_PACKET - header) // 8 * 8
    count, rest = divmod(UDP_HEADER + payload, room)
    sizes = [FRAMING + header + room] * count
    if rest:
        sizes.append(max(SMALLEST_FRAME, FRAMING + header + rest))
    return tuple(sizes)


def wire_bt(octets: int, esd: int = 1) -> int:
    """Return how long a frame holds the line, in bit times, without the gap.

    >>> wire_bt(64), wire_bt(64, esd=0)
    (584, 576)
    """
    return (PREAMBLE + octets + esd) * 8
