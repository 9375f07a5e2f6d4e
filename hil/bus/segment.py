"""A shared segment as the bench file describes it, and the sizes of what travels on it.

Counted in bit times (bt) and octets; a bit time is a whole number of nanoseconds.

    preamble + SFD | destination ... FCS | ESD | gap
       8 octets    |  64 to 1518 octets  |  1  | 96 bt       wire = all but the gap

Convention: a frame on 10BASE-T1S carries one end-of-stream delimiter octet (`esd`), which
classic Ethernet does not have; a 64-octet turn is 68.0 µs with it and 67.2 µs without.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from hil.core.instant import SECOND, Duration

GAP_BT = 96  # interpacket gap, IEEE 802.3 table 4-2
BEACON_BT = 20  # IEEE 802.3cg-2019 148.4.4.4, as quoted in INET's EthernetPlca.ned
PREAMBLE = 8  # octets, with the start-of-frame delimiter; INET worstcase.ini
SMALLEST_FRAME, LARGEST_FRAME = 64, 1518  # octets, untagged, with FCS; INET showcase tenbaset1s
FRAMING = 14 + 4  # octets of MAC header and FCS
UDP_HEADER, IP_HEADERS = 8, {4: 20, 6: 40}  # RFC 768, RFC 791 §3.1, RFC 8200 §3
LARGEST_PACKET = 1500  # octets of IP packet in an untagged frame, RFC 894
LARGEST_DATAGRAM = 65_507  # octets of UDP payload over IPv4: 65535 - 20 - 8

DEFAULT_COUNT, DEFAULT_TO_TIMER, DEFAULT_BURST_TIMER = 8, 32, 128
"""IEEE 802.3cg-2019 30.16.1.1.3, .5 and .7.  Some PHYs are shipped with other timers."""
DISABLED_ID = 255  # 30.16.1.1.4: switches PLCA off; the largest usable id is 254


@dataclass(frozen=True, slots=True, kw_only=True)
class Participant:
    """One PHY on the segment: a node of the rack, or the tool's own adapter.

    `plca_id` is None where the bench file gives none.  Timers are in bit times; `burst_count`
    is how many frames may follow the first within one turn.
    """

    name: str
    plca_id: int | None
    to_timer: int = DEFAULT_TO_TIMER
    burst_count: int = 0
    burst_timer: int = DEFAULT_BURST_TIMER


@dataclass(frozen=True, slots=True, kw_only=True)
class Cable:
    """The pair: its length, what sits at its two physical ends, and where it is terminated.

    `ends` and `terminated` name participants (or places, where no participant sits at an end);
    `stubs_mm` is the length of each participant's drop, in millimetres.
    """

    length_mm: int
    ends: tuple[str, ...] = ()
    terminated: tuple[str, ...] = ()
    stubs_mm: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Traffic:
    """A datagram that is sent again and again.

    `payload` is octets of UDP payload; two of them are never less than `interval` apart.
    `answer` is the payload of the receiver's answer to each, None where none is sent.
    `receiver` empty means everybody.
    """

    name: str
    sender: str
    receiver: str
    payload: int
    interval: Duration
    answer: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A whole segment; `node_count` is the coordinator's, `rate` in bit/s, `ip` 4 or 6.

    Raises ValueError where a bit time is no whole number of nanoseconds, or two participants
    have one name.
    """

    participants: tuple[Participant, ...]
    rate: int = 10_000_000
    plca: bool = True
    node_count: int = DEFAULT_COUNT
    cable: Cable | None = None
    traffic: tuple[Traffic, ...] = ()
    esd: int = 1
    ip: int = 4

    def __post_init__(self) -> None:
        if self.rate < 1 or SECOND % self.rate:
            raise ValueError(
                f"a rate of {self.rate} bit/s has no bit time of whole nanoseconds; "
                "10000000 bit/s is what 10BASE-T1S has"
            )
        if self.ip not in IP_HEADERS:
            raise ValueError(f"there is IP version 4 and 6, not {self.ip}")
        names = [participant.name for participant in self.participants]
        if len(set(names)) < len(names):
            raise ValueError("two participants have the same name")
        for traffic in self.traffic:
            if traffic.interval < 1:
                raise ValueError(f"{traffic.name} is sent every {traffic.interval} ns")

    @property
    def bit_ns(self) -> int:
        """How long one bit takes, in nanoseconds."""
        return SECOND // self.rate

    def lasting(self, bits: int) -> Duration:
        """Return how long so many bit times are; exact."""
        return Duration(bits * self.bit_ns)

    def turns(self) -> dict[int, Participant]:
        """Return who has which turn of a cycle; of several with one id, the first."""
        turns: dict[int, Participant] = {}
        for participant in self.participants:
            if participant.plca_id is not None and 0 <= participant.plca_id < self.node_count:
                turns.setdefault(participant.plca_id, participant)
        return turns

    @property
    def to_timer(self) -> int:
        """The longest transmit opportunity timer among the participants."""
        timers = [participant.to_timer for participant in self.participants]
        return max(timers, default=DEFAULT_TO_TIMER)

    @property
    def takes_turns(self) -> bool:
        """Whether PLCA is at work: without a coordinator no beacon comes and nodes contend."""
        return self.plca and self.node_count > 0 and 0 in self.turns()


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
