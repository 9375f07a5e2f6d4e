"""What part of a response time may be spent where: `processing`, `return`, with `outward`.

These keys go with `within`: the response that it waits for is split by the node's own stamps.
"""

from dataclasses import replace

from hil.core.instant import Duration, show_duration
from hil.core.plan import Expectation
from hil.core.signal import Signal
from hil.files.bound_text import read_time_bound
from hil.files.leaf import DURATION
from hil.files.mistake import Page
from hil.files.scope import Scope
from hil.files.tree import Node
from hil.measure.splitting import ResponseSplit, Share
from hil.wire.rack import Carries, Field, Role
from hil.wire.rack import Node as RackNode


def read_splits(
    expectation: Expectation,
    fields: dict[str, Node],
    signals: list[Signal],
    scope: Scope,
    page: Page,
) -> list[Expectation]:
    """Return an expectation for each signal and part that is asked for."""
    words = [share.value for share in Share if share.value in fields]
    if not words:
        return []
    within = expectation.timing.within
    if within is None:
        return []  # which has been said
    outward = DURATION.at(fields, "outward", page)
    if Share.PROCESSING.value in fields and "outward" not in fields:
        what = "processing: the way out cannot be told from it, unless its longest is known"
        page.wrong(fields[Share.PROCESSING.value], what, "outward: 1 ms")
        return []
    found = []
    for word in words:
        bound = read_time_bound(fields[word], word, page)
        for signal in signals:
            node = scope.nodes[signal.node]
            if bound is None or not _stamped(node, fields[word], word, page):
                continue
            measure = ResponseSplit(
                node=node, share=Share(word), bound=bound, outward=outward, window=Duration(within)
            )
            found.append(
                replace(
                    expectation,
                    signals=(signal.path,),
                    wanted=f"{word} {bound.words} of the time to {expectation.wanted}",
                    when=f"within {show_duration(within)}",
                    measure=measure,
                )
            )
    return found


def _stamped(node: RackNode, place: Node, word: str, page: Page) -> bool:
    """Say whether a node tells its time in what it sends, and is asked so that it is known."""
    readings = [layout for layout in node.layouts if layout.role is Role.READING]
    answers = [layout for layout in node.layouts if layout.role is Role.ANSWER]
    stamps = {
        role: bool(layouts) and all(_has_uptime(layout.fields) for layout in layouts)
        for role, layouts in (("readings", readings), ("answers", answers))
    }
    if not stamps["readings"]:
        what = f"{word}: the readings of {node.name} carry no `uptime`"
        page.wrong(place, what, "a field with `is: uptime` in their layout")
        return False
    if not stamps["answers"] and (node.poll is None or node.listen is not None):
        what = f"{word}: nothing that {node.name} is asked bounds its clock from below"
        page.wrong(place, what, "`is: uptime` in the layout of its answers")
        return False
    return True


def _has_uptime(fields: tuple[Field, ...]) -> bool:
    return any(part.carries is Carries.UPTIME for part in fields)
