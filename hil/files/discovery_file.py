"""The `discovery` of a bench file, and the groups that nodes tell their readings."""

from collections.abc import Mapping

from hil.core.instant import Duration
from hil.files.bench_shape import DISCOVERY
from hil.files.leaf import DURATION, FLAG, NAME, WHOLE
from hil.files.mistake import Page, nearest, show
from hil.files.tree import Node
from hil.files.zone_text import read_group
from hil.wire.announce import EVERY, ROUNDS, Discovery
from hil.wire.rack import Layout, Role

MOST_ROUNDS = 100


def read_discovery(
    node: Node, layouts: Mapping[str, Layout | None], interface: str | None, page: Page
) -> Discovery | None:
    """Return how nodes are found; None, with every mistake noted, where the text is wrong.

    `layouts` are those of the file, None for one that could not be read, and so is `interface`.
    """
    before = page.count
    keys = DISCOVERY.open(node, page)
    if keys is None:
        return None
    group = read_group(keys["group"], "group", interface, page) if "group" in keys else None
    announce = _layout("announce", Role.ANNOUNCE, keys, layouts, page)
    ask = _layout("ask", Role.ASK, keys, layouts, page)
    coap = FLAG.at(keys, "coap", page)
    if "announce" not in keys and not coap and page.count == before:
        page.wrong(node, "a discovery needs `announce` with `group`, or `coap: yes`")
    rounds = WHOLE.read(keys["rounds"], page, "rounds") if "rounds" in keys else ROUNDS
    if rounds is not None and not 1 <= rounds <= MOST_ROUNDS:
        page.wrong(keys["rounds"], f"rounds: {rounds} is not in 1 to {MOST_ROUNDS}")
    every: Duration | None = EVERY
    if "every" in keys:
        every = DURATION.read(keys["every"], page, "every")
        if every == 0:
            page.wrong(keys["every"], "every: expected more than 0 s")
    if page.count > before or rounds is None or every is None:
        return None
    return Discovery(
        group=group, announce=announce, ask=ask, coap=bool(coap), rounds=rounds, every=every
    )


def _layout(
    key: str,
    role: Role,
    keys: Mapping[str, Node],
    layouts: Mapping[str, Layout | None],
    page: Page,
) -> Layout | None:
    if key not in keys:
        return None
    name = NAME.read(keys[key], page, key)
    if name is None:
        return None
    fitting = [each.name for each in layouts.values() if each is not None and each.role is role]
    if name not in layouts:
        what = f"{key}: there is no layout {show(name)} under `layouts`"
        page.wrong(keys[key], what, nearest(name, fitting) or ", ".join(fitting))
        return None
    layout = layouts[name]
    if layout is not None and layout.role is not role:
        what = f"{key}: the layout {show(name)} has the role `{layout.role.value}`"
        page.wrong(keys[key], what, ", ".join(fitting) or f"role: {role.value}")
        return None
    return layout
