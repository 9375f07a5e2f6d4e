"""Where one value of a CoAP node stands, as the file says; and the resources they share."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from hil.core.instant import Duration
from hil.files.coap_shape import FORMAT, PATH, POINTER, RECORD
from hil.files.mistake import Page
from hil.files.tree import Node
from hil.wire.coap.description import Format, Part, Place, Resource, Target

_TREES = (Format.JSON, Format.CBOR)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A path, a format, and the place of one value in the payload."""

    place: Place
    format: Format
    pointer: tuple[str, ...]
    record: str
    node: Node

    def part(self, part: Part) -> Part:
        """Return how a value is written, at this place."""
        return replace(part, pointer=self.pointer, record=self.record)


def read_spot(keys: Mapping[str, Node], node: Node, page: Page) -> Spot | None:
    """Return a spot from `path`, `format`, `pointer` and `record`; None where it is none."""
    place = PATH.at(keys, "path", page)
    word = FORMAT.at(keys, "format", page)
    pointer, record = POINTER.at(keys, "pointer", page), RECORD.at(keys, "record", page)
    if word is None and "format" in keys:
        return None
    form = Format.TEXT if word is None else Format(word)
    if "pointer" in keys and form not in _TREES:
        page.wrong(keys["pointer"], f"pointer: it leads through json and cbor, not {form.value}")
    if "record" in keys and not form.is_senml:
        page.wrong(keys["record"], f"record: only SenML has records, not {form.value}")
    if "record" not in keys and form.is_senml:
        page.wrong(node, f"{form.value} has records, so it needs the key `record`")
    if place is None:
        return None
    return Spot(place=place, format=form, pointer=pointer or (), record=record or "", node=node)


class Shared:
    """The resources and targets of one node, from what its signals say."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._resources: dict[tuple[Place, Format], Resource] = {}
        self._owners: dict[tuple[Place, Format], str] = {}
        self._driven: dict[tuple[Place, tuple[str, ...], str], str] = {}
        self.targets: dict[str, Target] = {}

    @property
    def resources(self) -> tuple[Resource, ...]:
        return tuple(self._resources.values())

    def add_signal(
        self, name: str, spot: Spot, part: Part, observe: bool, poll: Duration | None
    ) -> None:
        """Read a signal at a spot; all signals of one resource are read in one way."""
        key = spot.place, spot.format
        known = self._resources.get(key)
        if known is None:
            known = Resource(place=spot.place, format=spot.format, observe=observe, poll=poll)
            self._owners[key] = name
        elif (known.observe, known.poll) != (observe, poll):
            what = f"{spot.place} is observed or polled in another way for {self._owners[key]}"
            self._page.wrong(spot.node, what, "say the same in both, or say it at the node")
        signals = {**known.signals, name: spot.part(part)}
        self._resources[key] = replace(known, signals=signals)

    def add_fact(self, name: str, spot: Spot) -> None:
        """Read a fact about the node, along with signals where it is part of their resource."""
        key = spot.place, spot.format
        known = self._resources.get(key) or Resource(place=spot.place, format=spot.format)
        facts = {**known.facts, name: spot.part(Part())}
        self._resources[key] = replace(known, facts=facts)

    def add_target(self, name: str, spot: Spot, part: Part) -> None:
        """Drive a signal at a spot; no other is driven there."""
        key = spot.place, spot.pointer, spot.record
        other = self._driven.setdefault(key, name)
        if other != name:
            what = f"{name} is driven at {spot.place}, where {other} is driven already"
            self._page.wrong(spot.node, what, "put: another path")
        self.targets[name] = Target(place=spot.place, format=spot.format, part=spot.part(part))
