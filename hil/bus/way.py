"""The ways of a rack's signals over its segment: one way for what is sensed, both for what is driven.

Signals that travel in one datagram have one way.  Times count from hand-over to the last bit; what
a node needs to answer or to react is no part of them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from hil.bus.budget import Budget, Path
from hil.bus.declared import carried, commands_name, reading_name
from hil.core.instant import Duration
from hil.wire.rack import Node, Rack, Role
from hil.wire.segment import TOOL, Segment


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How signals of one node travel; `driven` tells commands from readings.

    `worst` is None where nothing bounds it; `round_trip` (best, worst) is there for what is
    driven, and for readings that answer a question.
    """

    node: str
    signals: tuple[str, ...]
    driven: bool
    best: Duration
    worst: Duration | None
    round_trip: tuple[Duration, Duration | None] | None = None


def ways(rack: Rack, segment: Segment, planned: Budget) -> list[Way]:
    """Return the ways of all signals, in the order of the bench file."""
    paths = {path.traffic.name: path for path in planned.paths}
    found: list[Way] = []
    for node in rack.nodes:
        found += _sensed(node, segment, paths)
        path = paths.get(commands_name(node))
        driven = tuple(signal.path for signal in node.signals if signal.drive is not None)
        if path is not None and driven:
            found.append(_way(node, driven, True, segment, path))
    return found


def route(segment: Segment, start: str, end: str) -> Sequence[str] | None:
    """Return the shortest chain of declared traffic from node to node, by its names.

    The tool carries nothing from node to node.  None where nothing is declared.
    """
    reached: dict[str, tuple[str, ...]] = {start: ()}
    front = [start]
    while front:
        front = [each for name in front for each in _onward(segment, name, reached)]
    return reached.get(end)


def _onward(segment: Segment, name: str, reached: dict[str, tuple[str, ...]]) -> list[str]:
    fresh = []
    for traffic in segment.traffic:
        receiver = traffic.receiver
        if traffic.sender != name or receiver == TOOL:
            continue
        everybody = [each.name for each in segment.participants if each.name != TOOL]
        for each in [receiver] if receiver else everybody:
            if each not in reached:
                reached[each] = (*reached[name], traffic.name)
                fresh.append(each)
    return fresh


def _sensed(node: Node, segment: Segment, paths: dict[str, Path]) -> list[Way]:
    if node.coap is not None:
        return list(_sensed_by_coap(node, segment, paths))
    found = []
    for layout in node.layouts:
        path = paths.get(reading_name(node, layout)) if layout.role is Role.READING else None
        signals = tuple(f"{node.name}.{name}" for name in carried(layout))
        if path is not None and signals:
            found.append(_way(node, signals, False, segment, path))
    return found


def _sensed_by_coap(node: Node, segment: Segment, paths: dict[str, Path]) -> Iterator[Way]:
    from hil.bus.coap_declared import sensed  # benches without CoAP start sooner

    for names, name, answered in sensed(node):
        if name in paths:
            path = _back(paths[name]) if answered else _there(paths[name])
            signals = tuple(f"{node.name}.{each}" for each in names)
            yield _way(node, signals, False, segment, path)


def _there(path: Path) -> Path:
    """Return the way of what a node says by itself, without the tool's acknowledgement."""
    return replace(path, best_round=None, worst_round=None)


def _back(path: Path) -> Path:
    """Return the way of an answer; there and back it begins with the question."""
    best = (path.best_round or path.best) - path.best
    worst = None
    if path.worst is not None and path.worst_round is not None:
        worst = path.worst_round - path.worst
    return replace(path, best=best, worst=worst)


def _way(node: Node, signals: tuple[str, ...], driven: bool, segment: Segment, path: Path) -> Way:
    def lasting(bits: int | None) -> Duration | None:
        return None if bits is None else segment.lasting(bits)

    both = None
    if path.best_round is not None:
        both = (segment.lasting(path.best_round), lasting(path.worst_round))
    return Way(
        node=node.name,
        signals=signals,
        driven=driven,
        best=segment.lasting(path.best),
        worst=lasting(path.worst),
        round_trip=both,
    )
