"""`clock`: what a node's clock does, and what its answers spend where."""

from decimal import Decimal

from hil.core.instant import ZERO, Duration, show_duration
from hil.core.plan import Expectation, Invalid, Timing
from hil.files.bound_text import read_bound, read_time_bound
from hil.files.leaf import DURATION, NAME
from hil.files.measure_shape import CLOCK
from hil.files.mistake import Page, listed, nearest, show
from hil.files.quantity import show_quantity, value_in
from hil.files.scope import Scope
from hil.files.tree import Node
from hil.measure.bound import Bound
from hil.measure.clocking import Clocking, Part
from hil.wire.rack import Carries, Role
from hil.wire.rack import Node as RackNode

_PARTS = tuple(part.value for part in Part)


def read_clock(node: Node, scope: Scope, page: Page) -> list[Expectation]:
    """Return an expectation for each figure of a node's exchanges."""
    fields = CLOCK.open(node, page)
    if fields is None:
        return []
    owner = _node(fields, scope, page)
    window, outward = DURATION.at(fields, "during", page), DURATION.at(fields, "outward", page)
    if window == 0:
        page.wrong(fields["during"], "during: expected more than 0 s", "during: 10 s")
    words = [word for word in _PARTS if word in fields]
    if not words:
        page.wrong(node, f"expected one or more of {listed(_PARTS)}", "round-trip: 20 ms")
    if "processing" in fields and "outward" not in fields:
        what = "processing: the way out cannot be told from it, unless its longest is known"
        page.wrong(fields["processing"], what, "outward: 1 ms")
    found = []
    for word in words:
        bound = _bound(word, fields[word], page)
        if bound is not None and owner is not None and window is not None:
            found.append(_expectation(Part(word), bound, owner, outward, window, node, page))
    return found


def _expectation(
    part: Part,
    bound: Bound,
    owner: RackNode,
    outward: Duration | None,
    window: Duration,
    place: Node,
    page: Page,
) -> Expectation:
    return Expectation(
        signals=(),
        condition=Invalid(),
        timing=Timing(during=(ZERO, window)),
        wanted=f"{part.value} {bound.words}",
        when=f"for {show_duration(window)}",
        mark=page.mark(place),
        measure=Clocking(node=owner, part=part, bound=bound, outward=outward, window=window),
    )


def _bound(word: str, node: Node, page: Page) -> Bound | None:
    if word != Part.DRIFT.value:
        return read_time_bound(node, word, page)
    return read_bound(node, word, page, _ppm, lambda value: show_quantity(value, "ppm"), bare="")


def _ppm(text: str) -> Decimal:
    return value_in(text, "ppm")


def _node(fields: dict[str, Node], scope: Scope, page: Page) -> RackNode | None:
    name = NAME.at(fields, "clock", page)
    if name is None:
        return None
    place, owner = fields["clock"], scope.nodes.get(name)
    if owner is None:
        what = f"clock: there is no node {show(name)} on this bench"
        page.wrong(place, what, nearest(name, scope.nodes))
        return None
    readings = [layout for layout in owner.layouts if layout.role is Role.READING]
    stamped = all(any(f.carries is Carries.UPTIME for f in one.fields) for one in readings)
    if not readings:
        what = f"clock: {name} has no layout of a reading that carries an `uptime`"
        page.wrong(place, what, "one with a field `is: uptime`, in the bench file")
        return None
    if owner.poll is None:
        what = f"clock: {name} is not asked for readings, so nothing bounds its clock from below"
        page.wrong(place, what, "`poll` in its `requests`")
        return None
    if owner.listen is not None:
        what = f"clock: {name} also speaks unasked, so no reading surely answers a request"
        page.wrong(place, what, "its `requests` without `listen`")
        return None
    if not readings or not stamped:
        what = f"clock: the readings of {name} carry no `uptime`"
        page.wrong(place, what, "a field with `is: uptime` in its layout")
        return None
    return owner
