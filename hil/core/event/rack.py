"""What was odd about nodes and host, and what was left safe."""

from dataclasses import dataclass
from typing import ClassVar

from hil.core.event.event import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeNoted(Event):
    """Something odd about a node's traffic or identity."""

    kind: ClassVar[str] = "node-note"
    node: str
    trouble: str
    text: str
    hex: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeIdentified(Event):
    """Who a node says it is, in the roll call; what it does not tell is empty or None."""

    kind: ClassVar[str] = "node-identified"
    node: str
    serial: str
    firmware: str
    boots: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeConfirmed(Event):
    """A node was made sure of: `why` is `warm-up` before the first case, `case` before each.

    `facts` are what it told, each (what, how it is); `asked` is how many requests that took, and
    `took` how long from the first of them, in ns.
    """

    kind: ClassVar[str] = "node-confirmed"
    node: str
    why: str
    facts: tuple[tuple[str, str], ...]
    asked: int
    took: int


JUDGED_AGAIN = "judged again"
"""The trouble of a host note that says that this is no run: a recording was judged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HostNoted(Event):
    """Something wrong on the bench's own side."""

    kind: ClassVar[str] = "host-note"
    trouble: str
    amount: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ActuatorSafe(Event):
    """A driven signal was put to its safe value; `confirmed` says whether that was seen.

    `actuator` says whether something moves there, or whether it is an injection only.
    """

    kind: ClassVar[str] = "actuator-safe"
    signal: str
    value: str
    confirmed: bool
    text: str = ""
    actuator: bool = True
