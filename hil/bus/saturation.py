"""A segment on which everybody always has one more frame: what it carries at the most.

Runs the line itself, without envelopes, in blocks of frames, so that memory does not grow with
the length of the run.
"""

from dataclasses import dataclass

from hil.bus.contention import Contention
from hil.bus.segment import GAP_BT, Segment, wire_bt
from hil.bus.turns import Turns
from hil.core.instant import Duration, Instant

BLOCK = 512


@dataclass(frozen=True, slots=True, kw_only=True)
class Saturated:
    """What a saturated segment carried: frames by participant, and the longest access delays."""

    elapsed: Duration
    frames: dict[str, int]
    longest: dict[str, Duration]
    given_up: int
    collisions: int

    def goodput(self, octets: int) -> float:
        """Return Mbit/s where so many octets of each frame are of use."""
        return sum(self.frames.values()) * octets * 8000 / self.elapsed


def saturate(segment: Segment, octets: int, frames: int, seed: int = 0) -> Saturated:
    """Keep every queue filled with frames of one size until at least so many were sent, and count.

    `longest` holds the longest access delay of each participant.
    """
    line: Turns | Contention = (
        Turns(segment, Instant(0)) if segment.takes_turns else Contention(segment, Instant(0), seed)
    )
    turns = {each.name for each in segment.turns().values()}
    names = [each.name for each in segment.participants]
    busy = [who for who, name in enumerate(names) if name in turns or not segment.takes_turns]
    wire = wire_bt(octets, segment.esd) * segment.bit_ns
    step = (BLOCK - 1) * (wire + GAP_BT * segment.bit_ns)  # no queue can run dry in it
    sent = [0] * len(names)
    now = over = given_up = 0
    while sum(sent) < frames and busy:
        for who in busy:
            for _ in range(BLOCK - len(line.queues[who])):
                line.offer(who, now, wire, None)
        now += step
        line.advance(now)
        for at, who, _, _ in line.ended:
            sent[who] += 1
            over = at
        given_up += len(line.given_up)
        line.ended.clear()
        line.given_up.clear()
    return Saturated(
        elapsed=Duration(over),
        frames=dict(zip(names, sent, strict=True)),
        longest={
            name: Duration(waits.longest) for name, waits in zip(names, line.waits, strict=True)
        },
        given_up=given_up,
        collisions=sum(line.collisions),
    )
