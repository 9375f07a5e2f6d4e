"""A shared segment as the bench file describes it: who is on it, on what cable, with what traffic.

Counted in bit times (bt) and octets; a bit time is a whole number of nanoseconds.  What all of it
amounts to is worked out in hil.bus.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from hil.core.error import Mark
from hil.core.instant import SECOND, Duration

TOOL = "tool"
"""The participant that is this computer's own adapter."""

DEFAULT_RATE = 10_000_000
DEFAULT_COUNT, DEFAULT_TO_TIMER, DEFAULT_BURST_TIMER = 8, 32, 128
"""IEEE 802.3cg-2019 30.16.1.1.3, .5 and .7.  Some PHYs are shipped with other timers."""


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
    rate: int = DEFAULT_RATE
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
        if self.ip not in (4, 6):
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """What a node itself tells about the bus: a signal with its signal quality, and counters.

    A counter that rises during a case makes the bus a suspect.  `beacons` counts beacons that
    nobody should send: a second coordinator, which ends the run.
    """

    quality: str = ""
    counters: tuple[str, ...] = ()
    beacons: str = ""

    @property
    def signals(self) -> tuple[str, ...]:
        """All of them that there are."""
        return tuple(name for name in (self.quality, *self.counters, self.beacons) if name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bus:
    """The `bus` of a bench file.

    `assumed` names the traffic whose interval is a default of ours, `unsized` that whose size is.
    `bit_errors` and `loss` are
    what the simulated line does to frames.  `set_plca` says whether the tool sets its own adapter
    up; `least_quality` is the smallest signal quality index that is good enough.  `marks` says
    where each participant stands in the file, "" where the bus does.
    """

    segment: Segment
    marks: Mapping[str, Mark]
    assumed: tuple[str, ...] = ()
    unsized: tuple[str, ...] = ()
    bit_errors: Decimal = Decimal(0)
    loss: Decimal = Decimal(0)
    set_plca: bool = False
    least_quality: int | None = None
    diagnoses: Mapping[str, Diagnosis] = field(default_factory=dict)
