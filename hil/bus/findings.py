"""What is wrong with a segment as it is described, before anything is sent on it.

Every finding has a code that stays the same, how bad it is, a sentence, and what to do:

    error     the segment cannot work as described
    warning   it may work, and something will go wrong or be slow
    note      beyond what the standard promises; it needs measuring

Findings about ids and timers are here, about the cable in hil.bus.wiring.
"""

from collections import Counter
from dataclasses import dataclass
from enum import Enum

from hil.bus.budget import Budget, budget, propagation_ns
from hil.bus.segment import (
    DISABLED_ID,
    GAP_BT,
    LARGEST_DATAGRAM,
    Participant,
    Segment,
)
from hil.core.instant import show_duration

PROMISED_NODES = 8  # a conforming segment carries at least so many; INET showcase tenbaset1s
KNOWN_TIMER_BT, KNOWN_REACH_MM = 32, 50_000  # ethtool(8): 32 bt is enough for roughly 50 m
LARGEST_COUNT = LARGEST_TIMER = 255  # ethtool(8), IEEE 802.3cg-2019 30.16.1.1.3 and .5


class Severity(Enum):
    """How bad a finding is."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing about a segment: `who` names the participants it is about."""

    code: str
    severity: Severity
    sentence: str
    remedy: str
    who: tuple[str, ...] = ()


def ids(segment: Segment) -> list[Finding]:
    """Check who has which id: missing, out of range, repeated, no or two coordinators."""
    found = []
    holders: dict[int, list[str]] = {}
    for each in segment.participants:
        if each.plca_id is None:
            found.append(
                _error(
                    "id-missing",
                    f"{each.name} has no PLCA id and never gets a turn",
                    "give it an id of its own from 0 to 254",
                    each.name,
                )
            )
        elif each.plca_id == DISABLED_ID:
            found.append(
                _error(
                    "id-255",
                    f"{each.name} has PLCA id 255, which switches PLCA off in its PHY",
                    "give it an id of its own from 0 to 254; 255 is no number of a node",
                    each.name,
                )
            )
        elif not 0 <= each.plca_id < DISABLED_ID:
            found.append(
                _error(
                    "id-range",
                    f"{each.name} has PLCA id {each.plca_id}, ids go from 0 to 254",
                    "give it an id of its own from 0 to 254",
                    each.name,
                )
            )
        else:
            holders.setdefault(each.plca_id, []).append(each.name)
    found += [_shared(number, names) for number, names in holders.items() if len(names) > 1]
    if 0 not in holders:
        found.append(
            _error(
                "no-coordinator",
                "nobody has PLCA id 0, so no beacon is sent and all nodes contend for the line",
                "give exactly one participant id 0, the tool's adapter or one node",
            )
        )
    return found


def count(segment: Segment) -> list[Finding]:
    """Check the coordinator's node count against the ids in use."""
    used = [
        each.plca_id
        for each in segment.participants
        if each.plca_id is not None and 0 <= each.plca_id < DISABLED_ID
    ]
    needed = max(used, default=0) + 1
    if not 1 <= segment.node_count <= LARGEST_COUNT:
        return [
            _error(
                "count-range",
                f"the node count is {segment.node_count}, it goes from 1 to 255",
                f"set the coordinator's node count to {needed}",
            )
        ]
    left_out = tuple(
        each.name
        for each in segment.participants
        if each.plca_id is not None and segment.node_count <= each.plca_id < DISABLED_ID
    )
    if left_out:
        return [
            _error(
                "count-too-small",
                f"the node count is {segment.node_count}, so {', '.join(left_out)} never "
                f"{'gets' if len(left_out) == 1 else 'get'} a turn",
                f"set the coordinator's node count to {needed} or more",
                *left_out,
            )
        ]
    spare = segment.node_count - needed
    if spare <= max(PROMISED_NODES, needed):
        return []
    lost = show_duration(segment.lasting(spare * segment.to_timer))
    return [
        Finding(
            code="count-too-large",
            severity=Severity.WARNING,
            sentence=f"the node count is {segment.node_count} and the highest id {needed - 1}: "
            f"{spare} turns of nobody make every cycle {lost} longer",
            remedy=f"set the coordinator's node count to {needed}",
        )
    ]


def timers(segment: Segment) -> list[Finding]:
    """Check the transmit opportunity and burst timers."""
    found = _timer_ranges(segment)
    tally = Counter(each.to_timer for each in segment.participants)
    if len(tally) > 1:
        usual = tally.most_common(1)[0][0]
        odd = [each for each in segment.participants if each.to_timer != usual]
        listed = ", ".join(f"{each.name} {each.to_timer} bt" for each in odd)
        found.append(
            _error(
                "timers-differ",
                f"transmit opportunity timers differ: {listed}, the others {usual} bt; "
                "nodes lose count of whose turn it is",
                f"set all of them to {usual} bt and read them back; PHYs have other defaults",
                *(each.name for each in odd),
            )
        )
    for each in segment.participants:
        if each.burst_count and each.burst_timer <= GAP_BT:
            found.append(
                _error(
                    "burst-timer-short",
                    f"{each.name} may send {each.burst_count} more frames in a turn, but its "
                    f"burst timer of {each.burst_timer} bt ends before a gap of {GAP_BT} bt does",
                    "set the burst timer to 128 bt, or the burst count to 0",
                    each.name,
                )
            )
    return found + _timer_reach(segment)


def load(segment: Segment, planned: Budget | None = None) -> list[Finding]:
    """Check the declared traffic against what the line, and each turn, can carry."""
    known = {each.name for each in segment.participants}
    found = []
    for traffic in segment.traffic:
        for name in (traffic.sender, traffic.receiver):
            if name and name not in known:
                found.append(
                    _error(
                        "traffic-unknown",
                        f"{traffic.name}: no participant is called {name}",
                        "name a participant of the segment",
                    )
                )
        sizes = [traffic.payload, 0 if traffic.answer is None else traffic.answer]
        if not all(0 <= size <= LARGEST_DATAGRAM for size in sizes):
            found.append(
                _error(
                    "traffic-size",
                    f"{traffic.name}: a datagram holds 0 to {LARGEST_DATAGRAM} octets",
                    "give the size of the UDP payload in octets",
                )
            )
    if found:
        return found
    planned = budget(segment) if planned is None else planned
    if planned.demand > 1:
        found.append(
            _error(
                "overload",
                f"the declared traffic needs {float(planned.demand):.0%} of the line",
                "send less often, or smaller, or from fewer nodes",
            )
        )
    elif planned.overloaded:
        found.append(
            _error(
                "turns-overload",
                f"{', '.join(planned.overloaded)} would have more to send than turns to send it in",
                "send less often, join datagrams, or raise the burst count",
                *planned.overloaded,
            )
        )
    return found


def _shared(number: int, names: list[str]) -> Finding:
    if number == 0:
        return _error(
            "two-coordinators",
            f"{' and '.join(names)} all have PLCA id 0: more than one sends beacons",
            "leave id 0 to one of them; some PHYs stop sending altogether when they see a beacon",
            *names,
        )
    return _error(
        "id-repeated",
        f"{' and '.join(names)} have the same PLCA id {number} and collide in its turn, "
        "which looks like random loss",
        "give each an id of its own",
        *names,
    )


def _timer_ranges(segment: Segment) -> list[Finding]:
    def outside(each: Participant) -> bool:
        return not (
            1 <= each.to_timer <= LARGEST_TIMER
            and 0 <= each.burst_count <= LARGEST_TIMER
            and 0 <= each.burst_timer <= LARGEST_TIMER
        )

    return [
        _error(
            "timer-range",
            f"{each.name} has a transmit opportunity timer of {each.to_timer} bt, a burst count of "
            f"{each.burst_count} and a burst timer of {each.burst_timer} bt",
            "the timer goes from 1 to 255 bt, burst count and burst timer from 0 to 255",
            each.name,
        )
        for each in segment.participants
        if outside(each)
    ]


def _timer_reach(segment: Segment) -> list[Finding]:
    """Compare the timer with the cable: twice the propagation, and what the PHYs need (148-1).

    What PHYs need is not known here; the rule of thumb "32 bt for roughly 50 m" leaves 27 bt.
    """
    if segment.cable is None or not segment.participants:
        return []
    shortest = min(segment.participants, key=lambda each: each.to_timer)
    there_and_back = 2 * propagation_ns(segment)
    length = f"{segment.cable.length_mm / 1000:g} m"
    if shortest.to_timer * segment.bit_ns <= there_and_back:
        return [
            _error(
                "timer-too-short",
                f"{length} of cable and its stubs take {there_and_back} ns there and back, the "
                f"transmit opportunity timer of {shortest.name} is over in "
                f"{shortest.to_timer * segment.bit_ns} ns",
                "set a longer timer on all nodes, or use a shorter cable",
                shortest.name,
            )
        ]
    phys = KNOWN_TIMER_BT * 100 - 2 * KNOWN_REACH_MM * 5 // 1000
    if shortest.to_timer * segment.bit_ns >= there_and_back + phys:
        return []
    return [
        Finding(
            code="timer-unproven",
            severity=Severity.WARNING,
            sentence=f"a transmit opportunity timer of {shortest.to_timer} bt on {length} is less "
            "than the rule of thumb asks for (32 bt for roughly 50 m)",
            remedy="check equation 148-1 with the delays of your PHYs, or set a longer timer",
            who=(shortest.name,),
        )
    ]


def _error(code: str, sentence: str, remedy: str, *who: str) -> Finding:
    return Finding(
        code=code, severity=Severity.ERROR, sentence=sentence, remedy=remedy, who=tuple(who)
    )
