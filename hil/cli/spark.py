"""A course as one line of signs: eight heights, and signs for what is no value.

    ▁▁▂▃▅▇██▇▆××××▁▁····      × no measurement      · stale      a blank: nothing was known yet

Numbers are drawn between the lowest and the highest of what is shown, but noise alone never fills
the height; labels by their place among all labels of the signal.
"""

from collections.abc import Sequence

from hil.core.signal import Kind, Signal
from hil.runner.course import Entry, Gap

HEIGHTS = "▁▂▃▄▅▆▇█"
_GAPS = {Gap.INVALID: "×", Gap.STALE: "·"}
_QUIETEST = 6.0
"""So many times its noise or resolution a signal must move to fill the height."""

_LETTERS = str.maketrans(HEIGHTS + "×·■↑↓…", "_.-:=+*#x?#^v.")


def spark(entries: Sequence[Entry], signal: Signal, width: int) -> str:
    """Return the last `width` entries of a course, one sign each, to the right."""
    if width <= 0:
        return ""
    shown = entries[-width:]
    numbers = [entry for entry in shown if isinstance(entry, float)]
    low, high = _span(numbers, signal)
    scale = (len(HEIGHTS) - 1) / (high - low)
    signs = [
        " "
        if entry is None
        else _GAPS[entry]
        if isinstance(entry, Gap)
        else HEIGHTS[max(0, min(len(HEIGHTS) - 1, round((entry - low) * scale)))]
        for entry in shown
    ]
    return "".join(signs).rjust(width)


def in_letters(text: str) -> str:
    """Return a text without the signs that a terminal of few signs cannot show."""
    return text.translate(_LETTERS)


def _span(numbers: Sequence[float], signal: Signal) -> tuple[float, float]:
    if signal.kind is Kind.LABEL:
        return 0.0, float(max(1, len(signal.labels) - 1))
    if signal.kind is Kind.TEXT or not numbers:
        return 0.0, 1.0
    low, high = min(numbers), max(numbers)
    if low == high:
        return low, low + 1.0
    least = _QUIETEST * float(max(signal.noise, signal.resolution or 0))
    if high - low >= least:
        return low, high
    middle = (low + high) / 2
    return middle - least / 2, middle + least / 2
