"""Whether what a signal means can be told apart in the fields that carry it."""

from hil.core.signal import Kind, Signal
from hil.files.mistake import Page, show
from hil.files.quantity import show_quantity
from hil.files.tree import Node
from hil.wire.encoding import Form, raw_ranges
from hil.wire.frame import number_form
from hil.wire.rack import Encoding, Field


def check_field(
    signal: Signal, encoding: Encoding, field: Field, width: int, node: Node, page: Page
) -> None:
    """Check that what a signal means can be told apart in one field that carries it."""
    form = number_form(field, width)
    if (form.kind in ("text", "bytes")) != (signal.kind is Kind.TEXT):
        page.wrong(node, f"{signal.path} is a {signal.kind.value}, but its field is `{field.form}`")
        return
    if form.kind not in ("u", "i"):
        return
    for raw, label in encoding.labels.items():
        if not form.low <= raw <= form.high:
            what = f"the raw number {raw} of {show(label)} does not fit into its field"
            page.wrong(node, f"{signal.path}: {what}, {form.low} to {form.high}")
    _check_ends(signal, encoding, form, node, page)
    for low, high in raw_ranges(encoding, form):
        if low < form.low or high > form.high:
            what = f"the sentinel {low:#x} does not fit into its field of {form.bits} bits"
            page.wrong(node, f"{signal.path}: {what}")
        elif not encoding.labels and _overlap(low, high, encoding):
            page.wrong(node, f"{signal.path}: the sentinel {low:#x} lies inside the range")


def _check_ends(signal: Signal, encoding: Encoding, form: Form, node: Node, page: Page) -> None:
    for end, raw in ((signal.low, encoding.low), (signal.high, encoding.high)):
        if raw is not None and end is not None and not form.low <= raw <= form.high:
            shown = show_quantity(end, signal.unit)
            what = f"its range reaches {shown}, raw {raw}, its field only {form.low} to {form.high}"
            page.wrong(node, f"{signal.path}: {what}")


def _overlap(low: int, high: int, encoding: Encoding) -> bool:
    if encoding.low is None or encoding.high is None:
        return False
    return low <= encoding.high and high >= encoding.low
