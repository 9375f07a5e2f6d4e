"""How readings arrive: `loss`, `duplicates`, `reordering`, `delay-variation`, `jitter`."""

from hil.core.instant import ZERO, Duration, show_duration
from hil.core.plan import Expectation, Invalid, Timing
from hil.files.bound_text import read_share_bound, read_time_bound
from hil.files.leaf import DURATION, NAME
from hil.files.measure_shape import TRAFFIC, TRAFFIC_LIMITS
from hil.files.mistake import Page, listed, nearest, show
from hil.files.scope import Scope
from hil.files.tree import Node
from hil.measure.traffic import Metric, Traffic
from hil.wire.rack import Carries, Role
from hil.wire.rack import Node as RackNode


def read_traffic(node: Node, scope: Scope, page: Page) -> list[Expectation]:
    """Return an expectation for each figure of a node's readings, over a time."""
    fields = TRAFFIC.open(node, page)
    if fields is None:
        return []
    window = DURATION.at(fields, "during", page)
    if window == 0:
        page.wrong(fields["during"], "during: expected more than 0 s", "during: 3 s")
    if window is None:
        return []
    return read_limits(fields, "traffic", node, window, f"for {show_duration(window)}", scope, page)


def read_limits(
    fields: dict[str, Node],
    key: str,
    place: Node,
    window: Duration,
    when: str,
    scope: Scope,
    page: Page,
) -> list[Expectation]:
    """Return an expectation for each limit among the fields; the node stands under `key`."""
    words = [word for word in TRAFFIC_LIMITS if word in fields]
    if not words:
        page.wrong(place, f"expected one or more of {listed(TRAFFIC_LIMITS)}", "loss: 0 %")
    owner = _node(fields, key, scope, page)
    found = []
    for word in words:
        metric = Metric(word)
        read = read_time_bound if metric.timed else read_share_bound
        bound = read(fields[word], word, page)
        if bound is None or owner is None or not _can_tell(owner, metric, fields[word], page):
            continue
        measure = Traffic(node=owner, metric=metric, bound=bound, window=window)
        found.append(
            Expectation(
                signals=(),
                condition=Invalid(),
                timing=Timing(during=(ZERO, window)),
                wanted=f"{word} {bound.words}",
                when=when,
                mark=page.mark(place),
                measure=measure,
            )
        )
    return found


def _node(fields: dict[str, Node], key: str, scope: Scope, page: Page) -> RackNode | None:
    name = NAME.at(fields, key, page)
    if name is not None and name not in scope.nodes:
        what = f"{key}: there is no node {show(name)} on this bench"
        page.wrong(fields[key], what, nearest(name, scope.nodes))
    return scope.nodes.get(name or "")


def _can_tell(node: RackNode, metric: Metric, place: Node, page: Page) -> bool:
    """Say whether the node's readings carry what the figure is made from."""
    needed = (Carries.SEQUENCE, Carries.UPTIME) if metric.timed else (Carries.SEQUENCE,)
    readings = [layout for layout in node.layouts if layout.role is Role.READING]
    for carries in needed:
        if not readings or not all(
            any(f.carries is carries for f in layout.fields) for layout in readings
        ):
            what = f"{metric.value}: the readings of {node.name} carry no `{carries.value}`"
            page.wrong(place, what, f"a field with `is: {carries.value}` in its layout")
            return False
    return True
