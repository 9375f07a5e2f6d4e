"""Is a value what was wanted, and by how much?

A condition grades one sample at a time; when it had to be so is the business of
hil.core.expectation.

    sample      Limits, OneOf, Unchanged, Not      Invalid
    valid       GOOD or BAD by its value           BAD
    invalid     FAULT                              GOOD
    stale       UNKNOWN                            UNKNOWN

A FAULT (the node says that it has no measurement) counts against everything but `Invalid`: NaN
is neither below a limit nor "not above" it.
"""

from collections.abc import Callable
from decimal import Decimal
from enum import Enum

from hil.core.plan import Condition, Invalid, Limits, Not, OneOf, Unchanged
from hil.core.signal import EXACT, Sample, Signal, Validity, Value, show_number, show_value


class Grade(Enum):
    """What one sample says about a condition."""

    GOOD = "good"
    BAD = "bad"
    FAULT = "sensor fault"
    UNKNOWN = "unknown"


Test = Callable[[Value], bool]


def resolve(condition: Condition, baseline: Value | None) -> Condition:
    """Turn `Unchanged` into limits (or the one label) around `baseline`; others stay as they are.

    Raises ValueError where `Unchanged` has no baseline.
    """
    if not isinstance(condition, Unchanged):
        return condition
    if baseline is None:
        raise ValueError("no value was seen before the stimulus")
    if isinstance(baseline, str):
        return OneOf(values=(baseline,))
    low = EXACT.subtract(baseline, condition.tolerance)
    high = EXACT.add(baseline, condition.tolerance)
    return Limits(low=low, high=high, target=baseline)


def value_test(condition: Condition) -> Test:
    """Return the function that says whether a valid value satisfies the condition."""
    match condition:
        case Limits():
            return _limits_test(condition)
        case OneOf(values=values):
            wanted = frozenset(values)
            return wanted.__contains__
        case Not(condition=inner):
            test = value_test(inner)
            return lambda value: not test(value)
        case Invalid():
            return lambda value: False
        case Unchanged():
            raise ValueError("an unchanged condition must be resolved first")


def _limits_test(limits: Limits) -> Test:
    low, high = limits.low, limits.high
    if low is not None and high is not None and limits.low_inclusive and limits.high_inclusive:
        return lambda value: low <= value <= high  # type: ignore[operator]
    tests: list[Test] = []
    if low is not None:
        tests.append(low.__le__ if limits.low_inclusive else low.__lt__)  # type: ignore[arg-type]
    if high is not None:
        tests.append(high.__ge__ if limits.high_inclusive else high.__gt__)  # type: ignore[arg-type]
    return lambda value: all(test(value) for test in tests)


def grader(condition: Condition) -> Callable[[Sample], Grade]:
    """Return the function that grades samples by the table above."""
    test = value_test(condition)
    fault = Grade.GOOD if isinstance(condition, Invalid) else Grade.FAULT
    valid, invalid = Validity.VALID, Validity.INVALID
    good, bad, unknown = Grade.GOOD, Grade.BAD, Grade.UNKNOWN

    def grade(sample: Sample) -> Grade:
        if sample.validity is valid:
            return good if test(sample.value) else bad  # type: ignore[arg-type]
        return fault if sample.validity is invalid else unknown

    return grade


def value_margin(condition: Condition, value: Value | None, signal: Signal) -> float | None:
    """Return how far a number is from its limit, as a fraction of the allowed window.

    1 at the centre of two limits, 0 on a limit, negative outside.  With one open end the window
    reaches to the end of the signal's range, and 1 is that end.  None where no window has a
    width: labels, exact values, an open end without a declared range.
    """
    if not isinstance(condition, Limits) or not isinstance(value, Decimal):
        return None
    low, high = condition.low, condition.high
    if low is not None and high is not None:
        half = (high - low) / 2
        return float(1 - abs(value - (low + half)) / half) if half > 0 else None
    if low is not None:
        room = None if signal.high is None else signal.high - low
        return None if not room or room < 0 else float((value - low) / room)
    if high is not None:
        room = None if signal.low is None else high - signal.low
        return None if not room or room < 0 else float((high - value) / room)
    return None


def how_far_off(condition: Condition, sample: Sample, signal: Signal) -> str:
    """Say by how much a value misses its limits: `1.40 deg too low`; empty where none is missed."""
    value = sample.value
    if not isinstance(condition, Limits) or not isinstance(value, Decimal):
        return ""
    unit = f" {signal.unit}" if signal.unit else ""
    low, high = condition.low, condition.high
    if low is not None and value < low:
        return f"{show_number(EXACT.subtract(low, value))}{unit} too low"
    if high is not None and value > high:
        return f"{show_number(EXACT.subtract(value, high))}{unit} too high"
    if value in (low, high) and not value_test(condition)(value):
        return "exactly on the limit, which does not count"
    return ""


def show_got(sample: Sample | None, signal: Signal) -> str:
    """Say what a sample showed: `4.80 bar`, `red`, `sensor fault (sentinel 0x7fff)`, `nothing`."""
    if sample is None:
        return "nothing"
    if sample.validity is Validity.VALID:
        return show_value(sample.value, signal)
    word = "sensor fault" if sample.validity is Validity.INVALID else "stale"
    return f"{word} ({sample.note})" if sample.note else word
