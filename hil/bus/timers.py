"""What is wrong with the timers of a segment: out of range, unequal, too short for gap or cable.

The timer must be longer than a bit takes to the far end and back, and what PHYs need besides
(IEEE 802.3cg-2019, equation 148-1).  What PHYs need is not known here; the rule of thumb "32 bt for
roughly 50 m" (ethtool(8)) leaves 27 bt for them.
"""

from collections import Counter

from hil.bus.budget import propagation_ns
from hil.bus.findings import Finding, Severity, error
from hil.bus.segment import GAP_BT, Participant, Segment

KNOWN_TIMER_BT, KNOWN_REACH_MM = 32, 50_000  # ethtool(8): 32 bt is enough for roughly 50 m
LARGEST_TIMER = 255  # ethtool(8), IEEE 802.3cg-2019 30.16.1.1.5


def timers(segment: Segment) -> list[Finding]:
    """Check the transmit opportunity and burst timers."""
    return [*_ranges(segment), *_unequal(segment), *_bursts(segment), *_reach(segment)]


def _unequal(segment: Segment) -> list[Finding]:
    tally = Counter(each.to_timer for each in segment.participants)
    if len(tally) < 2:
        return []
    usual = tally.most_common(1)[0][0]
    odd = [each for each in segment.participants if each.to_timer != usual]
    listed = ", ".join(f"{each.name} {each.to_timer} bt" for each in odd)
    return [
        error(
            "timers-differ",
            f"transmit opportunity timers differ: {listed}, the others {usual} bt; "
            "nodes lose count of whose turn it is",
            f"set all of them to {usual} bt and read them back; PHYs have other defaults",
            *(each.name for each in odd),
        )
    ]


def _bursts(segment: Segment) -> list[Finding]:
    """Check that a burst goes on after a gap; those that are set alike are told together."""
    alike: dict[tuple[int, int], list[str]] = {}
    for each in segment.participants:
        if each.burst_count and each.burst_timer <= GAP_BT:
            alike.setdefault((each.burst_count, each.burst_timer), []).append(each.name)
    found = []
    for (more, timer), names in alike.items():
        its = "its burst timer" if len(names) == 1 else "their burst timer"
        found.append(
            error(
                "burst-timer-short",
                f"{_who(segment, names)} may send {more} more {'frame' if more == 1 else 'frames'} in a turn, but "
                f"{its} of {timer} bt ends before a gap of {GAP_BT} bt does",
                "set the burst timer to 128 bt, or the burst count to 0",
                *(() if _is_everybody(segment, names) else names),
            )
        )
    return found


def _ranges(segment: Segment) -> list[Finding]:
    def outside(each: Participant) -> bool:
        return not (
            1 <= each.to_timer <= LARGEST_TIMER
            and 0 <= each.burst_count <= LARGEST_TIMER
            and 0 <= each.burst_timer <= LARGEST_TIMER
        )

    alike: dict[tuple[int, int, int], list[str]] = {}
    for each in filter(outside, segment.participants):
        key = each.to_timer, each.burst_count, each.burst_timer
        alike.setdefault(key, []).append(each.name)
    return [
        error(
            "timer-range",
            f"{_who(segment, names)} {'has' if len(names) == 1 else 'have'} a transmit opportunity "
            f"timer of {timer} bt, a burst count of {more} and a burst timer of {burst} bt",
            "the timer goes from 1 to 255 bt, burst count and burst timer from 0 to 255",
            *(() if _is_everybody(segment, names) else names),
        )
        for (timer, more, burst), names in alike.items()
    ]


def _is_everybody(segment: Segment, names: list[str]) -> bool:
    return 1 < len(names) == len(segment.participants)


def _who(segment: Segment, names: list[str]) -> str:
    return "all of them" if _is_everybody(segment, names) else ", ".join(names)


def _reach(segment: Segment) -> list[Finding]:
    """Compare the shortest timer with the cable: twice the propagation, and what PHYs need."""
    if segment.cable is None or not segment.participants:
        return []
    shortest = min(segment.participants, key=lambda each: each.to_timer)
    alone = any(each.to_timer != shortest.to_timer for each in segment.participants)
    who = (shortest.name,) if alone else ()
    timer = f"transmit opportunity timer of {shortest.to_timer} bt"
    timer += f" ({shortest.name})" if alone else ""
    there_and_back = 2 * propagation_ns(segment)
    length = f"{segment.cable.length_mm / 1000:g} m"
    lasts = shortest.to_timer * segment.bit_ns
    phys = KNOWN_TIMER_BT * 100 - 2 * KNOWN_REACH_MM * 5 // 1000
    enough = -(-(there_and_back + phys) // segment.bit_ns)
    longer = "shorten the cable"
    if enough <= LARGEST_TIMER:
        longer = f"make the timer {enough} bt on all nodes"
    if lasts <= there_and_back:
        return [
            error(
                "timer-too-short",
                f"{length} of cable and its stubs take {there_and_back} ns there and back, the "
                f"{timer} is over in {lasts} ns",
                longer,
                *who,
            )
        ]
    if enough <= shortest.to_timer:
        return []
    return [
        Finding(
            code="timer-unproven",
            severity=Severity.WARNING,
            sentence=f"a {timer} on {length} is less than the rule of thumb asks for "
            f"({KNOWN_TIMER_BT} bt for roughly {KNOWN_REACH_MM // 1000} m)",
            remedy=f"{longer}, or check equation 148-1 with the delays of your PHYs",
            who=who,
        )
    ]
