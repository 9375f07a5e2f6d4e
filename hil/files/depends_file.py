"""`depends` in a bench file: which signals follow which, so that `others` leaves them out."""

from collections.abc import Mapping

from hil.core.signal import Signal
from hil.files.bench_shape import CAUSES, DEPENDS
from hil.files.leaf import DOTTED
from hil.files.mistake import Page, Placed, nearest, show
from hil.files.tree import Node


def read_depends(
    node: Node, signals: Mapping[str, Signal], page: Page
) -> dict[str, tuple[str, ...]]:
    """Return for each signal that follows others which ones, all in full."""
    found: dict[str, tuple[str, ...]] = {}
    for key, effect, entry in DEPENDS.open(node, page):
        _check(effect, key, signals, page)
        causes = []
        for place in CAUSES.open(entry, page):
            cause = DOTTED.read(place, page, "depends")
            if cause is None:
                continue
            _check(cause, place, signals, page)
            if cause == effect or cause in causes:
                what = "stands here twice" if cause in causes else "depends on itself"
                page.wrong(place, f"depends: {show(cause)} {what}")
            causes.append(cause)
        found[effect] = tuple(causes)
    return found


def _check(path: str, place: Placed, signals: Mapping[str, Signal], page: Page) -> None:
    if path not in signals:
        what = f"depends: there is no signal {show(path)} on this bench"
        page.wrong(place, what, nearest(path, signals))
