"""What a segment can carry, worked out with whole bit times.

One PLCA cycle is a beacon and one turn for every id below the node count:

    beacon 20 | turn 0 | turn 1 | ... | turn n-1 |
    unused turn   the transmit opportunity timer
    used turn     for every frame its gap and its wire time; the timer is not paid as well

    empty     nobody sends
    typical   the declared traffic, on average
    full      every participant sends its largest declared frames, one gap before each
    longest   the same where every frame of a burst comes as late as the burst timer allows
    utmost    every turn up to the node count, with the largest frame there is

Formulas: INET showcase "Bounded Channel Access on 10BASE-T1S" (68·N + 70 µs for N nodes and a
coordinator at 64 octets).  Propagation is counted at 5 ns/m (INET's cables: 2·10⁸ m/s).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from hil.bus.backlog import worst_waits
from hil.bus.demand import answering, bits_of, largest_frame, sent_by
from hil.bus.demand import demand as line_demand
from hil.bus.segment import (
    BEACON_BT,
    DEFAULT_TO_TIMER,
    GAP_BT,
    LARGEST_FRAME,
    Participant,
    Segment,
    Traffic,
    frames_of,
    wire_bt,
)

NS_PER_METRE = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """The way of one declared datagram, in bit times from hand-over to its last bit.

    `best` is with the turn coming at once; `worst` is None where nothing bounds it.  The round
    trips count both ways and none of the time the receiver takes to answer; they are None
    where no answer is declared.
    """

    traffic: Traffic
    best: int
    worst: int | None
    best_round: int | None
    worst_round: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """A segment's timing in bit times.

    `demand` is the share of the line that the declared traffic takes, gaps included; above 1
    it cannot be carried.  `access` is each participant's worst access delay: from the moment a
    frame is first in its queue (its predecessor has begun to be sent) to its own first bit;
    None where nothing bounds it.  Without PLCA there are no cycles: all of them are 0.
    """

    empty: int
    typical: int
    full: int
    longest: int
    utmost: int
    demand: Fraction
    access: dict[str, int | None]
    paths: tuple[Path, ...]
    overloaded: tuple[str, ...]


def turn_bt(
    frames: Sequence[int],
    *,
    to_timer: int = DEFAULT_TO_TIMER,
    gap: int = GAP_BT,
    hold: int = 0,
    esd: int = 1,
) -> int:
    """Return how long one turn lasts in which frames of these sizes are sent.

    `gap` comes before each frame; `hold` is how long the line is held after the last one, for
    one more that does not come (the burst timer, where the burst count is not used up).
    """
    if not frames:
        return to_timer
    return sum(gap + wire_bt(octets, esd) for octets in frames) + hold


def cycle_bt(turns: Iterable[int]) -> int:
    """Return the length of a cycle of these turns."""
    return BEACON_BT + sum(turns)


def empty_cycle_bt(node_count: int, to_timer: int = DEFAULT_TO_TIMER) -> int:
    """Return the length of a cycle in which nobody sends.

    >>> empty_cycle_bt(9)
    308
    """
    return BEACON_BT + node_count * to_timer


def full_cycle_bt(node_count: int, octets: int, *, burst_count: int = 0, esd: int = 1) -> int:
    """Return the length of a cycle in which every turn is used with frames of one size.

    >>> full_cycle_bt(9, 64)
    6140
    """
    return BEACON_BT + node_count * (1 + burst_count) * (GAP_BT + wire_bt(octets, esd))


def budget(segment: Segment) -> Budget:
    """Work out the whole budget of a segment."""
    if not segment.takes_turns:
        return _contention_budget(segment)
    idle = segment.to_timer
    turns = segment.turns()
    unused = (segment.node_count - len(turns)) * idle
    used = {each.name: _used_turn(segment, each) for each in turns.values()}
    longest = {each.name: _longest_turn(segment, each) for each in turns.values()}
    full = BEACON_BT + unused + sum(used.values())
    worst = BEACON_BT + unused + sum(longest.values())
    access: dict[str, int | None] = {each.name: None for each in segment.participants}
    for each in turns.values():
        access[each.name] = worst - longest[each.name] + _own_share(segment, each)
    typical, overloaded = _typical(segment, full)
    bursts = max((each.burst_count for each in turns.values()), default=0)
    return Budget(
        empty=empty_cycle_bt(segment.node_count, idle),
        typical=typical,
        full=full,
        longest=worst,
        utmost=full_cycle_bt(
            segment.node_count, LARGEST_FRAME, burst_count=bursts, esd=segment.esd
        ),
        demand=line_demand(segment),
        access=access,
        paths=_paths(segment, worst, access),
        overloaded=overloaded,
    )


def propagation_ns(segment: Segment) -> int:
    """Return how long a bit takes from one end of the cable to the other, in nanoseconds."""
    if segment.cable is None:
        return 0
    stubs = sorted(segment.cable.stubs_mm.values(), reverse=True)[:2]
    return -(-(segment.cable.length_mm + sum(stubs)) * NS_PER_METRE // 1000)


def _contention_budget(segment: Segment) -> Budget:
    access: dict[str, int | None] = {each.name: None for each in segment.participants}
    return Budget(
        empty=0,
        typical=0,
        full=0,
        longest=0,
        utmost=0,
        demand=line_demand(segment),
        access=access,
        paths=_paths(segment, 0, access),
        overloaded=(),
    )


def _wire(segment: Segment, who: Participant) -> int:
    return wire_bt(largest_frame(segment, who.name), segment.esd)


def _used_turn(segment: Segment, who: Participant) -> int:
    return (1 + who.burst_count) * (GAP_BT + _wire(segment, who))


def _longest_turn(segment: Segment, who: Participant) -> int:
    following = max(GAP_BT, who.burst_timer) + _wire(segment, who)
    return GAP_BT + _wire(segment, who) + who.burst_count * following


def _own_share(segment: Segment, who: Participant) -> int:
    """Return what a participant adds to its own wait: its last frame or a missed turn, and a gap.

    A burst timer below the gap ends the turn before the MAC can send again: it adds too.
    """
    short = who.burst_timer if who.burst_count and who.burst_timer < GAP_BT else 0
    return GAP_BT + max(_wire(segment, who) + short, segment.to_timer)


def _typical(segment: Segment, full: int) -> tuple[int, tuple[str, ...]]:
    """Return the cycle at which the declared traffic is carried on average, and who overloads.

    In a cycle of C bit times a participant sends r·C frames, each of which makes an unused turn
    a used one: C = empty + C · sum r·(used - unused), solved for C.
    """
    idle = segment.to_timer
    empty = empty_cycle_bt(segment.node_count, idle)
    rates: dict[str, Fraction] = {}
    growth = Fraction(0)
    for each in segment.turns().values():
        rates[each.name] = Fraction(0)
        for sent in sent_by(segment, each.name):
            count = len(frames_of(sent.payload, segment.ip))
            rates[each.name] += Fraction(count * segment.bit_ns, sent.interval)
            added = bits_of(segment, sent.payload) - count * idle
            growth += Fraction(added * segment.bit_ns, sent.interval)
    cycle = ceil(empty / (1 - growth)) if growth < 1 else full
    cycle = min(cycle, full)
    room = {each.name: 1 + each.burst_count for each in segment.turns().values()}
    too_many = tuple(name for name, rate in rates.items() if rate * cycle > room[name])
    if growth >= 1 and not too_many:
        too_many = tuple(name for name, rate in rates.items() if rate)
    return cycle, too_many


def _paths(segment: Segment, cycle: int, access: dict[str, int | None]) -> tuple[Path, ...]:
    far = -(-propagation_ns(segment) // segment.bit_ns)
    backlog = worst_waits(segment, cycle, access)
    return tuple(_path(segment, traffic, backlog, far) for traffic in segment.traffic)


def _path(segment: Segment, traffic: Traffic, backlog: dict[str, int | None], far: int) -> Path:
    best = bits_of(segment, traffic.payload) - GAP_BT
    worst = _last_bit(backlog.get(traffic.sender), far)
    best_round = worst_round = None
    if traffic.answer is not None:
        best_round = best + bits_of(segment, traffic.answer) - GAP_BT
        back = [_last_bit(backlog.get(name), far) for name in answering(segment, traffic)]
        if worst is not None and None not in back:
            worst_round = worst + max((each for each in back if each is not None), default=0)
    return Path(
        traffic=traffic, best=best, worst=worst, best_round=best_round, worst_round=worst_round
    )


def _last_bit(wait: int | None, far: int) -> int | None:
    return None if wait is None else wait + far
