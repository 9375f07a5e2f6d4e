"""The `together` and the `disturb` of a step: all nodes asked at once; what the relay does."""

from hil.bus.disturb import Disturb
from hil.bus.together import Together
from hil.core.instant import MILLISECOND, Duration
from hil.core.signal import Value
from hil.files.leaf import DURATION, WHOLE
from hil.files.mistake import Page
from hil.files.plan_shape import DISTURBANCES, STIMULI, TOGETHER
from hil.files.relay_file import read_disturbance
from hil.files.scope import Scope
from hil.files.tree import Node

USUAL_PACE = Duration(20 * MILLISECOND)
MOST_ROUNDS = 100_000


def read_disturb(node: Node, scope: Scope, page: Page) -> Disturb | None:
    """Return the job; None, with the mistakes noted, where it cannot be read."""
    before = page.count
    entries = DISTURBANCES.open(node, page)
    if scope.rack.relay is None:
        page.wrong(node, "disturb: this bench has no relay", "give the bench file a `relay`")
    read = [read_disturbance(entry, list(scope.nodes), page) for entry in entries]
    for entry, each in zip(entries, read, strict=True):
        if each is not None and (each.begin or each.end is not None):
            page.wrong(entry, "disturb: `begin` and `end` are for the relay of a bench file")
    if page.count > before:
        return None
    script = tuple(each for each in read if each is not None)
    return Disturb(script=script, place=str(page.mark(node)))


def read_together(node: Node, scope: Scope, page: Page) -> Together | None:
    """Return the job; None, with the mistakes noted, where it cannot be read."""
    fields = TOGETHER.open(node, page)
    if fields is None:
        return None
    before = page.count
    rounds, pairs, alone = (_count(fields, key, page) for key in ("rounds", "pairs", "alone"))
    every = DURATION.at(fields, "every", page)
    values: list[tuple[str, Value]] = []
    nodes: dict[str, str] = {}
    for key, path, value in STIMULI.open(fields["drive"], page) if "drive" in fields else ():
        commanded = scope.command(path, key, value, page)
        if commanded is None:
            continue
        owner = scope.signals[path].node
        first = nodes.setdefault(owner, path)
        if first != path:
            page.wrong(key, f"{owner} is asked by {first} already, expected one signal of a node")
        values.append((path, commanded))
    if page.count == before and len(values) < 2:
        page.wrong(node, "together: needs two nodes or more")
    if page.count > before:
        return None
    return Together(
        values=tuple(values),
        rounds=1 if rounds is None else rounds,
        pairs=pairs or 0,
        alone=alone or 0,
        every=USUAL_PACE if every is None else every,
        place=str(page.mark(node)),
    )


def _count(fields: dict[str, Node], key: str, page: Page) -> int | None:
    count = WHOLE.at(fields, key, page)
    if count is not None and not 1 <= count <= MOST_ROUNDS:
        page.wrong(fields[key], f"{key}: expected 1 to {MOST_ROUNDS}")
    return count
