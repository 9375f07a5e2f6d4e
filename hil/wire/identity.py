"""Who a node is: what its datagrams tell, against what the bench file says.

A plain field named `serial` or `firmware` tells it, beside the number and the boot count.
"""

from decimal import Decimal

from hil.core.instant import Duration, show_duration
from hil.core.signal import Value, show_number
from hil.wire.firmware import satisfies
from hil.wire.layout import Codec
from hil.wire.rack import Carries, Node

NAMES = ("serial", "firmware")


def facts(codec: Codec, payload: bytes) -> dict[str, str]:
    """Return what a good datagram tells about who sends it and in which life."""
    told = codec.known(payload[: codec.size])
    found = {"number": "" if told.node is None else str(told.node)}
    found |= {name: shown(told.plain[name]) for name in NAMES if name in told.plain}
    found["boots"] = "" if told.boots is None else str(told.boots)
    found["uptime"] = "" if told.uptime is None else show_duration(Duration(told.uptime))
    return {name: text for name, text in found.items() if text}


def shown(value: Value) -> str:
    """Return a serial number or a version as text, however the wire carries it."""
    return show_number(value) if isinstance(value, Decimal) else value


def identity_names(codec: Codec) -> list[str]:
    """Return which of `serial` and `firmware` a layout carries."""
    plain = {place.field.name for place in codec.places if place.field.carries is Carries.PLAIN}
    return [name for name in NAMES if name in plain]


def declared(node: Node) -> list[str]:
    """Return which of `serial` and `firmware` the bench file wants of a node."""
    wanted = zip(NAMES, (node.identity.serial, node.identity.firmware), strict=True)
    return [name for name, requirement in wanted if requirement]


def identity_problem(node: Node, name: str, got: str) -> str:
    """Say how a serial number or firmware is not what a node must have; empty where it is."""
    requirement = node.identity.serial if name == "serial" else node.identity.firmware
    if not requirement:
        return ""
    fits = got == requirement if name == "serial" else satisfies(got, requirement)
    return "" if fits else f"{name} is {got or '(empty)'}, wanted {requirement}"
