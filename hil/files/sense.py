"""Whether a check can tell anything: one that cannot fail, or cannot pass, is refused.

A valid value always lies in the declared range of its signal, and is always one of its labels.
"""

from hil.core.plan import Condition, Limits, Not, OneOf, Timing, Unchanged
from hil.core.signal import EXACT, Kind, Signal
from hil.files.mistake import Page
from hil.files.tree import Node


def check_sense(
    condition: Condition, timing: Timing, signal: Signal, place: Node, page: Page
) -> None:
    """Note a mistake where the check could only ever end in one way."""
    if isinstance(condition, Unchanged) and timing.during is None and timing.hold is None:
        page.wrong(place, "`unchanged` needs `during`, or `hold`", "during: 500 ms")
    always = _always(condition, signal)
    if always is None:
        return
    passes = always is (timing.never is None)
    word = "every" if always else "no"
    where = f"label of {signal.path}" if signal.kind is Kind.LABEL else _span(signal)
    ending = "cannot fail" if passes else "cannot pass"
    page.wrong(place, f"this check {ending}: {word} {where} satisfies it")


def _span(signal: Signal) -> str:
    return f"value in the range of {signal.path}, {signal.low} to {signal.high} {signal.unit},"


def _always(condition: Condition, signal: Signal) -> bool | None:
    """Return True where every valid value satisfies it, False where none does, else None."""
    if isinstance(condition, Not):
        inner = _always(condition.condition, signal)
        return None if inner is None else not inner
    if isinstance(condition, OneOf):
        everything = signal.kind is Kind.LABEL and set(condition.values) >= set(signal.labels)
        return True if everything else None
    low, high = signal.low, signal.high
    if low is None or high is None:
        return None
    if isinstance(condition, Unchanged):
        return True if condition.tolerance >= EXACT.subtract(high, low) else None
    if not isinstance(condition, Limits):
        return None
    return _covers(condition, signal)


def _covers(limits: Limits, signal: Signal) -> bool | None:
    low, high = signal.low, signal.high
    assert low is not None and high is not None
    from_below = limits.low is None or limits.low < low
    from_below = from_below or (limits.low == low and limits.low_inclusive)
    to_above = limits.high is None or limits.high > high
    to_above = to_above or (limits.high == high and limits.high_inclusive)
    if from_below and to_above:
        return True
    too_high = limits.low is not None and (
        limits.low > high or (limits.low == high and not limits.low_inclusive)
    )
    too_low = limits.high is not None and (
        limits.high < low or (limits.high == low and not limits.high_inclusive)
    )
    return False if too_high or too_low else None
