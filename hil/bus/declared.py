"""What a rack sends, derived from its bench file.

    node.readings   each reading layout, to the tool     every poll, every sampling, else assumed
                    or to everybody, with `readings-to`
    node.poll       the request of a poll, answered      every poll
    node.renew      the request to be kept informed      every renew
    node.commands   the largest request, answered        assumed

Sizes are those of the layouts; what CoAP nodes send is in hil.bus.coap_declared.  A node that is
on a serial line sends nothing here.  What a node sends at each change, and how often a plan drives
a signal, no bench file says; the bound for both is given in the file, or assumed and named.
What nodes send to one another is in no layout: the file declares it.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from hil.core.instant import MILLISECOND, Duration
from hil.wire.rack import Carries, Layout, Node, Role
from hil.wire.segment import TOOL, Traffic

USUAL_INTERVAL = Duration(20 * MILLISECOND)
USUAL_TEXT = 32
"""Octets that a text is taken to have at the most where nothing says how long it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoken:
    """One traffic; `bounded` is False where its interval is assumed, `sized` where its size is."""

    traffic: Traffic
    bounded: bool = True
    sized: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Declared:
    """The traffic of a rack; `assumed` names what has an interval of ours, `unsized` a size."""

    traffic: tuple[Traffic, ...]
    assumed: tuple[str, ...]
    unsized: tuple[str, ...] = ()


def derive(
    nodes: Iterable[Node], readings: Duration | None = None, commands: Duration | None = None
) -> Declared:
    """Derive the traffic; `readings` and `commands` bound what the file says nothing of."""
    found: list[Spoken] = []
    for node in nodes:
        if not node.address.port:
            continue
        usual = readings or USUAL_INTERVAL
        found += _readings(node, usual)
        driven = _commands(node, commands or USUAL_INTERVAL)
        found += [] if driven is None else [Spoken(traffic=driven, bounded=False)]
    own = {commands_name(node) for node in nodes}
    given = {True: commands is not None, False: readings is not None}
    return Declared(
        traffic=tuple(each.traffic for each in found),
        assumed=tuple(
            each.traffic.name
            for each in found
            if not each.bounded and not given[each.traffic.name in own]
        ),
        unsized=tuple(each.traffic.name for each in found if not each.sized),
    )


def _readings(node: Node, usual: Duration) -> Iterable[Spoken]:
    if node.coap is None:
        return _by_itself(node, usual)
    from hil.bus.coap_declared import reading_traffic  # benches without CoAP start sooner

    return reading_traffic(node, usual)


def _by_itself(node: Node, usual: Duration) -> Iterator[Spoken]:
    """Yield the readings of a node with layouts, and what the tool asks for them."""
    receiver = TOOL if node.readings_to is None else ""
    for layout in _of(node, Role.READING):
        own = _reading_interval(node, layout)
        name = reading_name(node, layout)
        traffic = _traffic(name, node.name, receiver, layout.size, own or usual)
        yield Spoken(traffic=traffic, bounded=own is not None)
    request, answer = _largest(node, Role.REQUEST), _largest(node, Role.ANSWER)
    for word, period in (("poll", node.poll), ("renew", node.renew)):
        if period is not None and request is not None:
            name = f"{node.name}.{word}"
            yield Spoken(traffic=_traffic(name, TOOL, node.name, request, period, answer))


def _commands(node: Node, interval: Duration) -> Traffic | None:
    name = commands_name(node)
    if node.coap is not None:
        from hil.bus.coap_declared import command_traffic

        return command_traffic(node, name, interval)
    request, answer = _largest(node, Role.REQUEST), _largest(node, Role.ANSWER)
    if request is None or not node.operations:
        return None
    return _traffic(name, TOOL, node.name, request, interval, answer)


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
