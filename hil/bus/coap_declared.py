"""What a CoAP node and the tool send each other, derived from its resources (RFC 7252, RFC 7641).

    NODE.PATH.readings   notifications, each of which the tool may have to acknowledge
    NODE.PATH.poll       GET and its answer, every poll
    NODE.PATH.blocks     the rest of notifications of more than a block
    NODE.PATH.renew      registration, or GET of what is neither observed nor polled, every renew
    NODE.PATH.acks       what an answer apart from its acknowledgement costs: one empty message each
                         way (RFC 7252 §5.2.2); only where requests are confirmable
    NODE.commands        the longest PUT and its answer

PATH has dots for slashes.  A representation of more than a block is fetched block by block, each
an exchange of its own.  Messages that are sent again are left out: on a healthy line there are
none.
"""

import re
from collections.abc import Iterator, Sequence

from hil.bus.coap_size import (
    BLOCK,
    EMPTY,
    changed_octets,
    content_octets,
    get_octets,
    payload_octets,
    put_octets,
    untold,
)
from hil.bus.declared import Spoken
from hil.core.instant import Duration
from hil.wire.coap.description import Coap, Resource
from hil.wire.rack import Node
from hil.wire.segment import TOOL, Traffic


def reading_traffic(node: Node, usual: Duration) -> list[Spoken]:
    """Return everything but the commands; `usual` is between two notifications of any change."""
    coap = node.coap
    assert coap is not None
    found: list[Spoken] = []
    for resource, name in zip(coap.resources, resource_names(node), strict=True):
        found += _resource(node, coap, resource, name, usual)
    return found


def command_traffic(node: Node, name: str, interval: Duration) -> Traffic | None:
    """Return the traffic of the commands; None for a node that is never driven."""
    coap = node.coap
    assert coap is not None
    sizes = [put_octets(node, signal, target) for signal, target in coap.targets.items()]
    if not sizes:
        return None
    return _asked(name, node, max(sizes), interval, changed_octets())


def resource_names(node: Node) -> Sequence[str]:
    """Return what the traffic of each resource is called, without its last word."""
    assert node.coap is not None
    names: list[str] = []
    for resource in node.coap.resources:
        parts = [re.sub(r"[^A-Za-z0-9_-]+", "-", part).strip("-") for part in resource.place.path]
        name = ".".join([node.name, *(part for part in parts if part)])
        names.append(name if name not in names else f"{name}-{len(names)}")
    return names


def sensed(node: Node) -> Iterator[tuple[Sequence[str], str, bool]]:
    """Yield the signals of each resource, the traffic they come in, and whether as an answer."""
    assert node.coap is not None
    for resource, name in zip(node.coap.resources, resource_names(node), strict=True):
        if resource.signals:
            word = "poll" if resource.poll is not None else "renew"
            word = "readings" if resource.observe else word
            yield tuple(resource.signals), f"{name}.{word}", not resource.observe


def _resource(
    node: Node, coap: Coap, resource: Resource, name: str, usual: Duration
) -> Iterator[Spoken]:
    payload, sized = payload_octets(node, resource), not untold(node, resource)
    blocks = max(1, -(-payload // BLOCK))
    told = _interval(node, resource)
    asks = [("poll", resource.poll, False)] if resource.poll is not None else []
    if resource.observe or not asks:
        asks.append(("renew", coap.renew, resource.observe))
    if resource.observe:
        said = content_octets(resource, payload, observe=True)
        readings = _told(f"{name}.readings", node, said, told or usual)
        yield Spoken(traffic=readings, bounded=told is not None, sized=sized)
        if blocks > 1:  # a notification is the first block, the tool fetches the others
            asks.append(("blocks", told or usual, False))
    for word, period, observe in asks:
        request = get_octets(coap, resource, observe=observe, blocks=blocks)
        answer = content_octets(resource, payload, observe=observe)
        each = Duration(max(1, period // blocks))
        yield Spoken(traffic=_asked(f"{name}.{word}", node, request, each, answer), sized=sized)
    if coap.confirmable:
        shortest = min(period for _, period, _ in asks)
        each = Duration(max(1, shortest // blocks // len(asks)))
        yield Spoken(traffic=_told(f"{name}.acks", node, EMPTY, each))


def _interval(node: Node, resource: Resource) -> Duration | None:
    """Return the shortest time between two notifications, where all signals declare one.

    A resource that is polled as well tells each change all the same.
    """
    if resource.poll is not None:
        return None
    own = [each.sampling for each in node.signals if each.name in resource.signals]
    known = [each for each in own if each is not None]
    return min(known) if known and len(known) == len(own) else None


def _told(name: str, node: Node, size: int, interval: Duration) -> Traffic:
    """Return what a node says by itself, and the tool's acknowledgement."""
    return Traffic(
        name=name,
        sender=node.name,
        receiver=TOOL,
        payload=size,
        interval=interval,
        answer=EMPTY,
    )


def _asked(name: str, node: Node, size: int, interval: Duration, answer: int) -> Traffic:
    return Traffic(
        name=name,
        sender=TOOL,
        receiver=node.name,
        payload=size,
        interval=interval,
        answer=answer,
    )
