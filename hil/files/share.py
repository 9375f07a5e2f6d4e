"""Shares that are no certainty and no impossibility: `99 %`, `0.95`."""

from decimal import Decimal

from hil.files.leaf import QUANTITY
from hil.files.mistake import Misread, Page, show
from hil.files.quantity import value_in
from hil.files.tree import Node


def read_share(node: Node, name: str, page: Page) -> Decimal | None:
    """Return a fraction above 0 and below 1; None, with the mistake noted."""
    text = QUANTITY.read(node, page, name)
    if text is None:
        return None
    try:
        share = value_in(text, "fraction")
        if not 0 < share < 1:
            raise Misread(f"{show(text)} is not above 0 % and below 100 %", "99 %")
    except Misread as misread:
        page.wrong(node, f"{name}: {misread.what}", misread.hint)
        return None
    return share


def show_share(share: Decimal) -> str:
    """Render a fraction in %.

    >>> show_share(Decimal("0.990"))
    '99 %'
    """
    return f"{(100 * share).normalize():f} %"
