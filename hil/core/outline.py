"""Conditions and timings as the journal keeps them: numbers and words, for those who draw them.

between      low, high, target; numbers as text in the signal's unit, empty where open
one of       every value that is right
not between  low, high
not one of   every value that is wrong
invalid      nothing more
"""

from hil.core.plan import Condition, Invalid, Limits, Not, OneOf, Timing, Unchanged
from hil.core.signal import Value, show_number


def outline_condition(condition: Condition) -> tuple[str, ...]:
    """Return a condition with its numbers; nothing for one that still awaits its baseline."""
    match condition:
        case Limits(low=low, high=high, target=target):
            return ("between", _shown(low), _shown(high), _shown(target))
        case OneOf(values=values):
            return ("one of", *map(_shown, values))
        case Not(condition=Limits(low=low, high=high)):
            return ("not between", _shown(low), _shown(high))
        case Not(condition=OneOf(values=values)):
            return ("not one of", *map(_shown, values))
        case Invalid():
            return ("invalid",)
        case Unchanged():
            return ()
    return ()


def outline_timing(timing: Timing) -> tuple[tuple[str, int], ...]:
    """Return the times of a timing by their names, in nanoseconds from the stimulus."""
    began, ended = timing.during or (None, None)
    times = (
        ("within", timing.within),
        ("hold", timing.hold),
        ("not before", timing.not_before),
        ("from", began),
        ("to", ended),
        ("never", timing.never),
    )
    return tuple((name, length) for name, length in times if length is not None)


def _shown(value: Value | None) -> str:
    if value is None:
        return ""
    return value if isinstance(value, str) else show_number(value)
