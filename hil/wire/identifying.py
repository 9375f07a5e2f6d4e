"""Which layout of a bench a datagram is of, and where it first differs from those it is not.

Every layout of every node is tried, and those by which nodes are found.  One that several nodes
share is tried once for each node, and told once: by the node whose number the datagram bears, else
by the first.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hil.wire.announce import Discovery, nobodys
from hil.wire.diagnosis import diagnose
from hil.wire.dissection import Part, dissect
from hil.wire.layout import Codec
from hil.wire.rack import Carries, Node


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One layout tried on a datagram; `trouble` says why it is not of it, empty where it is.

    The codec's node has no name where the layout is nobody's: the tool's question who is there.
    `first` is the first octet that differs, or the datagram's length where it is cut off.
    """

    codec: Codec
    parts: tuple[Part, ...]
    trouble: str
    first: int | None

    @property
    def fits(self) -> bool:
        return not self.trouble

    @property
    def title(self) -> str:
        """Return which layout it is, and of whom."""
        layout, node = self.codec.layout.name, self.codec.node.name
        return f"{layout} of {node}" if node else layout


def identify(
    nodes: Sequence[Node], payload: bytes, discovery: Discovery | None = None
) -> list[Attempt]:
    """Try all layouts of these nodes; those that fit come first, then the nearest.

    With `discovery` its datagrams are tried as well: any of these nodes may announce itself.
    """
    attempts = [_attempt(codec, payload) for codec in _codecs(nodes, discovery)]
    attempts.sort(key=lambda attempt: _distance(attempt, payload))
    told: set[str] = set()
    kept = []
    for attempt in attempts:
        name = attempt.codec.layout.name
        if attempt.fits or name not in told:
            kept.append(attempt)
        told.add(name)
    return kept


def _codecs(nodes: Sequence[Node], discovery: Discovery | None) -> Iterator[Codec]:
    for node in nodes:
        yield from (Codec(layout, node) for layout in node.layouts)
    if discovery is not None and discovery.announce is not None:
        yield from (Codec(discovery.announce, node) for node in nodes if node.address.port)
    if discovery is not None and discovery.ask is not None:
        yield nobodys(discovery.ask)


def _attempt(codec: Codec, payload: bytes) -> Attempt:
    parts = dissect(codec, payload)
    wrong = [part for part in parts if part.wrong]
    decoded = codec.decode(payload) is not None
    if decoded and not any(part.carries is Carries.NODE for part in wrong):
        return Attempt(codec=codec, parts=parts, trouble="", first=None)
    told = [_told(part) for part in wrong if part.raw and part.carries in _TELLING]
    if not decoded and not (told and len(payload) == codec.size and _constant_wrong(wrong)):
        told.append(diagnose([codec], payload))
    first = min((part.first for part in wrong), default=len(payload))
    return Attempt(codec=codec, parts=parts, trouble="; ".join(told), first=first)


_TELLING = (Carries.CONSTANT, Carries.NODE)
"""What tells layouts and nodes apart: what is wrong there is said first."""


def _told(part: Part) -> str:
    if part.carries is Carries.NODE:
        return f"the datagram is of node {part.value}, {part.wrong}"
    return f"{part.name or 'a constant'} holds {part.raw}, {part.wrong}"


def _constant_wrong(wrong: Sequence[Part]) -> bool:
    return any(part.carries is Carries.CONSTANT for part in wrong)


def _distance(attempt: Attempt, payload: bytes) -> tuple[bool, int, int, int, int]:
    """Return how far a datagram is from a layout: constants, node, length, the rest."""
    wrong = [part for part in attempt.parts if part.wrong]
    return (
        not attempt.fits,
        sum(part.carries is Carries.CONSTANT for part in wrong),
        sum(part.carries is Carries.NODE for part in wrong),
        abs(len(payload) - attempt.codec.size),
        len(wrong),
    )
