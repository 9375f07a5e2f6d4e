"""What is wrong with the cable, and everything that is wrong with a segment.

The standard promises at least 8 nodes on at least 25 m (INET showcase tenbaset1s): a floor, and
beyond it the electrical limits have to be measured.  From memory, to be checked against your
PHY's data: 100 Ω at each end, and stubs of no more than 0.1 m.
"""

from collections.abc import Iterator

from hil.bus.budget import Budget
from hil.bus.findings import (
    PROMISED_NODES,
    Finding,
    Severity,
    count,
    error,
    ids,
    load,
)
from hil.bus.segment import Cable, Segment
from hil.bus.timers import timers

PROMISED_REACH_MM = 25_000
USUAL_STUB_MM = 100  # from memory


def find(segment: Segment, planned: Budget | None = None) -> list[Finding]:
    """Return everything that is wrong with a segment, worst first."""
    found = [*ids(segment), *count(segment), *timers(segment)] if segment.plca else [_no_plca()]
    if segment.cable is not None:
        found += cable(segment, segment.cable)
    found += size(segment) + load(segment, planned)
    order = list(Severity)
    return sorted(found, key=lambda each: order.index(each.severity))


def size(segment: Segment) -> list[Finding]:
    """Check how many there are and how far it reaches."""
    found = []
    nodes = len(segment.participants)
    if nodes > PROMISED_NODES:
        found.append(
            Finding(
                code="many-nodes",
                severity=Severity.NOTE,
                sentence=f"{nodes} nodes share the segment, the standard promises "
                f"{PROMISED_NODES} and leaves more to the builder",
                remedy="measure signal quality at every node with all of them attached",
            )
        )
    if segment.cable is not None and segment.cable.length_mm > PROMISED_REACH_MM:
        found.append(
            Finding(
                code="long-reach",
                severity=Severity.NOTE,
                sentence=f"the cable is {segment.cable.length_mm / 1000:g} m long, the standard "
                "promises 25 m and leaves more to the builder",
                remedy="measure signal quality at both ends, or shorten the cable",
            )
        )
    return found


def cable(segment: Segment, pair: Cable) -> list[Finding]:
    """Check that termination sits at exactly the two physical ends, and the stubs."""
    found = list(_termination(pair))
    for name, length in pair.stubs_mm.items():
        if length > USUAL_STUB_MM:
            found.append(
                Finding(
                    code="long-stub",
                    severity=Severity.WARNING,
                    sentence=f"the stub of {name} is {length / 1000:g} m long, usual is at most "
                    f"{USUAL_STUB_MM / 1000:g} m (from memory; the standard limits its echo)",
                    remedy="bring the trunk to the node, or measure its signal quality",
                    who=(name,),
                )
            )
    return found


def _termination(pair: Cable) -> Iterator[Finding]:
    ends, terminated = set(pair.ends), set(pair.terminated)
    if len(pair.ends) != 2 or len(ends) != 2:
        yield Finding(
            code="ends-unknown",
            severity=Severity.WARNING,
            sentence=f"a cable has two ends, {len(ends)} are named: termination is not checked",
            remedy="name what sits at the two physical ends of the cable",
        )
        return
    if open_ends := sorted(ends - terminated):
        yield error(
            "end-open",
            f"the cable is not terminated at {' and '.join(open_ends)}: echoes look like "
            "random loss",
            "fit 100 Ω across the pair there (from memory; see your PHY's data)",
            *open_ends,
        )
    if extra := sorted(terminated - ends):
        yield error(
            "termination-extra",
            f"{' and '.join(extra)} {'is' if len(extra) == 1 else 'are'} terminated and at "
            "no end of the cable: the signal is too weak beyond",
            "take the termination off; drop nodes have none",
            *extra,
        )
    if len(pair.terminated) > len(terminated):
        yield error(
            "termination-twice",
            "one place is terminated twice",
            "leave one termination at each end",
        )


def _no_plca() -> Finding:
    return Finding(
        code="no-plca",
        severity=Severity.WARNING,
        sentence="PLCA is off: nodes contend for the line, and nothing bounds how long one waits",
        remedy="switch PLCA on in every PHY of the segment",
    )
