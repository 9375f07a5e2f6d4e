"""What is wrong with a segment as it is described, before anything is sent on it.

Every finding has a code that stays the same, how bad it is, a sentence, and what to do:

    error     the segment cannot work as described
    warning   it may work, and something will go wrong or be slow
    note      beyond what the standard promises; it needs measuring

Findings about ids, node count and load are here, about timers in hil.bus.timers, about the cable in
hil.bus.wiring.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from hil.bus.budget import Budget, budget
from hil.bus.segment import DISABLED_ID, LARGEST_DATAGRAM, Segment
from hil.core.instant import show_duration

PROMISED_NODES = 8  # a conforming segment carries at least so many; INET showcase tenbaset1s
LARGEST_COUNT = 255  # ethtool(8), IEEE 802.3cg-2019 30.16.1.1.3


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
    free = _free(segment)
    remedy = f"give it an id of its own from 0 to 254{free}"
    for each in segment.participants:
        number, name = each.plca_id, each.name
        if number is None:
            told = f"{name} has no PLCA id and never gets a turn"
            listed = f"list it under bus: participants: with an id of its own{free}"
            found.append(error("id-missing", told, listed, name))
        elif number == DISABLED_ID:
            told = f"{name} has PLCA id 255, which switches PLCA off in its PHY"
            found.append(error("id-255", told, f"{remedy}; 255 is no number of a node", name))
        elif not 0 <= number < DISABLED_ID:
            told = f"{name} has PLCA id {number}, ids go from 0 to 254"
            found.append(error("id-range", told, remedy, name))
        else:
            holders.setdefault(number, []).append(name)
    found += [_shared(number, names, free) for number, names in holders.items() if len(names) > 1]
    if 0 not in holders:
        found.append(
            error(
                "no-coordinator",
                "nobody has PLCA id 0, so no beacon is sent and all nodes contend for the line",
                "give exactly one participant id 0, the tool's adapter or one node",
            )
        )
    return found


def _free(segment: Segment) -> str:
    """Name the smallest id above 0 that nobody has."""
    used = {each.plca_id for each in segment.participants}
    free = next((number for number in range(1, DISABLED_ID) if number not in used), None)
    return "; all of them are taken" if free is None else f"; {free} is free"


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
            error(
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
            error(
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


def load(segment: Segment, planned: Budget | None = None) -> list[Finding]:
    """Check the declared traffic against what the line, and each turn, can carry."""
    found = list(_impossible(segment))
    if found:
        return found
    planned = budget(segment) if planned is None else planned
    if planned.demand > 1:
        found.append(
            error(
                "overload",
                f"the declared traffic needs {100 * float(planned.demand):.0f} % of the line",
                "send less often, or smaller, or from fewer nodes",
            )
        )
    elif planned.overloaded:
        found.append(
            error(
                "turns-overload",
                f"{', '.join(planned.overloaded)} would have more to send than turns to send it in",
                "send less often, join datagrams, or raise the burst count",
                *planned.overloaded,
            )
        )
    return found


def _impossible(segment: Segment) -> Iterator[Finding]:
    """Yield what of the declared traffic cannot be on any line."""
    known = {each.name for each in segment.participants}
    for traffic in segment.traffic:
        for name in (traffic.sender, traffic.receiver):
            if name and name not in known:
                yield error(
                    "traffic-unknown",
                    f"{traffic.name}: no participant is called {name}",
                    "name a participant of the segment",
                )
        sizes = [traffic.payload, 0 if traffic.answer is None else traffic.answer]
        if not all(0 <= size <= LARGEST_DATAGRAM for size in sizes):
            yield error(
                "traffic-size",
                f"{traffic.name}: a datagram holds 0 to {LARGEST_DATAGRAM} octets",
                "give the size of the UDP payload in octets",
            )


def _shared(number: int, names: list[str], free: str) -> Finding:
    together = f"{', '.join(names[:-1])} and {names[-1]}"
    if number == 0:
        all_of_them = "both" if len(names) == 2 else "all"
        return error(
            "two-coordinators",
            f"{together} {all_of_them} have PLCA id 0: more than one sends beacons",
            f"leave id 0 to one of them{free}; some PHYs stop sending altogether when they see "
            "a beacon",
            *names,
        )
    return error(
        "id-repeated",
        f"{together} have the same PLCA id {number} and collide in its turn, "
        "which looks like random loss",
        f"give each an id of its own{free}",
        *names,
    )


def error(code: str, sentence: str, remedy: str, *who: str) -> Finding:
    """Return a finding of the worst kind."""
    return Finding(
        code=code, severity=Severity.ERROR, sentence=sentence, remedy=remedy, who=tuple(who)
    )
