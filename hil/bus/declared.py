"""What a rack sends, derived from its bench file.

    node.readings   each reading layout, to the tool     every poll, every sampling, else assumed
    node.poll       the request of a poll, answered      every poll
    node.renew      the request to be kept informed      every renew
    node.commands   the largest request, answered        assumed

Sizes are those of the layouts.  What a node sends at each change, and how often a plan drives a
signal, no bench file says; the bound for both is given in the file, or assumed and named.
What nodes send to one another is in no layout: the file declares it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from hil.core.instant import MILLISECOND, Duration
from hil.wire.rack import Carries, Layout, Node, Role
from hil.wire.segment import TOOL, Traffic

USUAL_INTERVAL = Duration(20 * MILLISECOND)


@dataclass(frozen=True, slots=True, kw_only=True)
class Declared:
    """The traffic of a rack; `assumed` names what has an interval of ours."""

    traffic: tuple[Traffic, ...]
    assumed: tuple[str, ...]


def derive(
    nodes: Iterable[Node], readings: Duration | None = None, commands: Duration | None = None
) -> Declared:
    """Derive the traffic; `readings` and `commands` bound what the file says nothing of."""
    traffic: list[Traffic] = []
    assumed: list[str] = []
    for node in nodes:
        for layout in _of(node, Role.READING):
            name, interval = reading_name(node, layout), _reading_interval(node, layout)
            if interval is None:
                interval = readings or USUAL_INTERVAL
                assumed += [] if readings else [name]
            traffic.append(_traffic(name, node.name, TOOL, layout.size, interval))
        request, answer = _largest(node, Role.REQUEST), _largest(node, Role.ANSWER)
        if request is None:
            continue
        for word, period in (("poll", node.poll), ("renew", node.renew)):
            if period is not None:
                name = f"{node.name}.{word}"
                traffic.append(_traffic(name, TOOL, node.name, request, period, answer))
        if node.operations:
            name = commands_name(node)
            assumed += [] if commands else [name]
            interval = commands or USUAL_INTERVAL
            traffic.append(_traffic(name, TOOL, node.name, request, interval, answer))
    return Declared(traffic=tuple(traffic), assumed=tuple(assumed))


def reading_name(node: Node, layout: Layout) -> str:
    """Return what the traffic of a reading layout is called."""
    alone = len(_of(node, Role.READING)) == 1
    return f"{node.name}.{'readings' if alone else layout.name}"


def commands_name(node: Node) -> str:
    """Return what the traffic of a node's commands is called."""
    return f"{node.name}.commands"


def carried(layout: Layout) -> list[str]:
    """Return the signals a layout carries, by their names within the node."""
    parts = [part for each in layout.fields for part in (each, *(bit for bit, _, _ in each.parts))]
    return [part.name for part in parts if part.carries is Carries.SIGNAL]


def _of(node: Node, role: Role) -> Sequence[Layout]:
    return [layout for layout in node.layouts if layout.role is role]


def _largest(node: Node, role: Role) -> int | None:
    return max((layout.size for layout in _of(node, role)), default=None)


def _reading_interval(node: Node, layout: Layout) -> Duration | None:
    if node.poll is not None:
        return node.poll
    own = [signal.sampling for signal in node.signals if signal.name in carried(layout)]
    known = [each for each in own if each is not None]
    return min(known) if known and len(known) == len(own) else None


def _traffic(
    name: str, sender: str, receiver: str, size: int, interval: Duration, answer: int | None = None
) -> Traffic:
    return Traffic(
        name=name,
        sender=sender,
        receiver=receiver,
        payload=size,
        interval=interval,
        answer=answer,
    )
