"""How far a reading may be from the truth: `accuracy` in a bench file."""

from decimal import Decimal

from hil.core.signal import EXACT, Accuracy
from hil.files.bench_shape import ACCURACY
from hil.files.leaf import NUMBER, QUANTITY
from hil.files.mistake import Misread, Page, show
from hil.files.quantity import difference_in, value_in
from hil.files.tree import Map, Node

Ends = tuple[Decimal | None, Decimal | None]


def read_accuracy(
    node: Node, unit: str, ends: Ends, resolution: Decimal | None, page: Page
) -> Accuracy | None:
    """Return an accuracy; None, with the mistakes noted."""
    before = page.count
    if not isinstance(node, Map):
        fixed = read_difference(node, unit, "accuracy", page)
        return None if fixed is None else Accuracy(fixed=fixed)
    fields = ACCURACY.open(node, page)
    if fields is None:
        return None
    if not fields:
        page.wrong(node, "accuracy: says nothing", "{of-reading: 0.5 %, counts: 2}")
    if "of-range" in fields and None in ends:
        page.wrong(fields["of-range"], "of-range: the signal has no `range`")
    if "counts" in fields and resolution is None:
        page.wrong(fields["counts"], "counts: the signal is not carried in whole counts")
    found = Accuracy(
        of_reading=_share(fields, "of-reading", page),
        of_range=_share(fields, "of-range", page),
        counts=_counts(fields, page),
        fixed=read_difference(fields["fixed"], unit, "fixed", page) or Decimal(0)
        if "fixed" in fields
        else Decimal(0),
    )
    return found if page.count == before else None


def _share(fields: dict[str, Node], key: str, page: Page) -> Decimal:
    text = QUANTITY.at(fields, key, page)
    if text is None:
        return Decimal(0)
    try:
        share = value_in(text, "fraction")
        if not 0 <= share < 1:
            raise Misread(f"{show(text)} is not from 0 % to below 100 %", "0.5 %")
    except Misread as misread:
        page.wrong(fields[key], f"{key}: {misread.what}", misread.hint)
        return Decimal(0)
    return share


def _counts(fields: dict[str, Node], page: Page) -> Decimal:
    counts = NUMBER.at(fields, "counts", page)
    if counts is not None and counts < 0:
        page.wrong(fields["counts"], "counts: is negative")
        return Decimal(0)
    return counts or Decimal(0)


def worst_accuracy(
    accuracy: Accuracy, low: Decimal | None, high: Decimal | None, resolution: Decimal | None
) -> Decimal:
    """Return how far the worst reading of the range may be from the truth."""
    furthest = max((abs(end) for end in (low, high) if end is not None), default=Decimal(0))
    span = EXACT.subtract(high, low) if low is not None and high is not None else Decimal(0)
    parts = (
        EXACT.multiply(accuracy.of_reading, furthest),
        EXACT.multiply(accuracy.of_range, span),
        EXACT.multiply(accuracy.counts, resolution or Decimal(0)),
    )
    total = accuracy.fixed
    for part in parts:
        total = EXACT.add(total, part)
    return total


def read_difference(node: Node, unit: str, name: str, page: Page) -> Decimal | None:
    """Return a difference that must not be negative."""
    text = QUANTITY.read(node, page, name)
    if text is None:
        return None
    try:
        value = difference_in(text, unit)
    except Misread as misread:
        page.wrong(node, f"{name}: {misread.what}", misread.hint)
        return None
    if value < 0:
        page.wrong(node, f"{name}: {show(text)} is negative")
        return None
    return value
