"""A text as the value of a signal: a number in its unit, one of its labels, or a text."""

from decimal import Context, Decimal

from hil.core.signal import Kind, Signal, Value
from hil.files.grid import Grid
from hil.files.mistake import Misread, listed, nearest, show
from hil.files.quantity import show_quantity, split_quantity, value_in

_DIGITS_SHOWN = 15
_SHORT = Context(prec=7)


def read_value(text: str, signal: Signal) -> Value:
    """Return the value that `text` means for this signal; raises Misread.

    `on`, `off`, `yes` and `no` are words here: where the signal has such a label, it is meant.
    """
    if signal.kind is Kind.NUMBER:
        return value_in(text, signal.unit)
    if signal.kind is Kind.LABEL and text not in signal.labels:
        what = f"{signal.path} has no label {show(text)}, it has {listed(signal.labels, 'and')}"
        raise Misread(what, nearest(text, signal.labels))
    return text


def check_range(value: Value, signal: Signal) -> None:
    """Raise Misread where a number lies outside the declared range of its signal."""
    if not isinstance(value, Decimal):
        return
    low, high = signal.low, signal.high
    if (low is not None and value < low) or (high is not None and value > high):
        ends = [show_quantity(end, signal.unit) if end is not None else "" for end in (low, high)]
        span = f"{ends[0]} to {ends[1]}" if all(ends) else f"from {ends[0]}{ends[1]}"
        shown = show_quantity(_shortened(value), signal.unit)
        raise Misread(f"{shown} is outside the range of {signal.path}, {span}")


def _shortened(value: Decimal) -> Decimal:
    """Return a converted value with a readable number of digits; written ones stay."""
    return value if len(value.as_tuple().digits) <= _DIGITS_SHOWN else _SHORT.plus(value)


def on_grid(value: Value, text: str, signal: Signal, grid: Grid) -> Value:
    """Return the value the wire carries; raises Misread where it falls between two counts."""
    if not isinstance(value, Decimal):
        return value
    around = grid.neighbours(value)
    if around is None:
        return value
    if split_quantity(text, "")[1] not in ("", signal.unit):
        return grid.nearest(value)
    below, above = (show_quantity(end, signal.unit) for end in around)
    what = f"{show_quantity(value, signal.unit)} falls between two counts of {signal.path}"
    raise Misread(f"{what}, {below} and {above}", f"{below} or {above}")


def read_command(text: str, signal: Signal, grid: Grid) -> Value:
    """Return the value a signal is commanded to: in its range, and a count of its wire."""
    value = read_value(text, signal)
    check_range(value, signal)
    sent = on_grid(value, text, signal, grid)
    check_range(sent, signal)
    return sent
