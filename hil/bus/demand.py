"""What the participants of a segment send, as far as it is declared."""

from dataclasses import dataclass
from fractions import Fraction

from hil.bus.segment import (
    GAP_BT,
    LARGEST_FRAME,
    SMALLEST_FRAME,
    Segment,
    Traffic,
    frames_of,
    wire_bt,
)
from hil.core.instant import Duration


def largest_frame(segment: Segment, name: str) -> int:
    """Return the largest frame a participant sends, in octets.

    Where the segment declares no traffic at all, the largest there is.  Where it does, a
    participant that declares none still asks for addresses: the smallest frame there is.
    """
    if not segment.traffic:
        return LARGEST_FRAME
    sizes = (max(frames_of(sent.payload, segment.ip)) for sent in sent_by(segment, name))
    return max(sizes, default=SMALLEST_FRAME)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """A datagram a participant sends at most every `interval`; `asked_by` whom it answers."""

    payload: int
    interval: Duration
    asked_by: str = ""


def sent_by(segment: Segment, name: str) -> list[Sent]:
    """Return everything a participant sends, its answers too."""
    sent = []
    for traffic in segment.traffic:
        if traffic.sender == name:
            sent.append(Sent(payload=traffic.payload, interval=traffic.interval))
        if traffic.answer is not None and name in answering(segment, traffic):
            sent.append(
                Sent(payload=traffic.answer, interval=traffic.interval, asked_by=traffic.sender)
            )
    return sent


def answering(segment: Segment, traffic: Traffic) -> list[str]:
    """Return who answers a datagram: its receiver, or everybody where it goes to all."""
    if traffic.receiver:
        return [traffic.receiver]
    return [each.name for each in segment.participants if each.name != traffic.sender]


def bits_of(segment: Segment, payload: int) -> int:
    """Return how many bit times a datagram takes, a gap before each of its frames."""
    return sum(GAP_BT + wire_bt(octets, segment.esd) for octets in frames_of(payload, segment.ip))


def demand(segment: Segment) -> Fraction:
    """Return the share of the line that the declared traffic takes; above 1 it does not fit."""
    return sum((share(segment, traffic) for traffic in segment.traffic), Fraction(0))


def share(segment: Segment, traffic: Traffic) -> Fraction:
    """Return the share of the line that one traffic takes, with all answers to it."""
    bits = bits_of(segment, traffic.payload)
    if traffic.answer is not None:
        bits += bits_of(segment, traffic.answer) * len(answering(segment, traffic))
    return Fraction(bits * segment.bit_ns, traffic.interval)
