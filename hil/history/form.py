"""Which check it is, every night: what stays the same when values, limits and lines move.

A plan is edited: lines move, a tolerance becomes tighter.  The check is still the same one.  So a
check is known by its case, step and signal, and by the form of what is wanted: the text with its
numbers blanked.  Several of one form in a step are counted in the order of the plan.

    wanted   settling time at most 300 ms into -45.0 deg ± 1.5 deg, within 400 ms
    form     settling time at most # ms into # deg ± # deg, within
"""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from functools import lru_cache

from hil.core.event import CheckDecided

_NUMBER = re.compile(r"(?<![\w.-])[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?(?!\w)")
_REMARK = re.compile(r" \([^()]* of value[^()]*\)")
_MEASURED = re.compile(r"([+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?)(?: (\S+))?")


@lru_cache(maxsize=1 << 14)
def form_of(wanted: str, when: str) -> str:
    """Return the form of a check.

    >>> form_of("45.00 deg ± 1.50 deg", "within 600 ms, holding 300 ms")
    '# deg ± # deg, within'
    """
    blanked = _NUMBER.sub("#", _REMARK.sub("", wanted))
    word = when.split(" ", 1)[0].strip(",")
    return f"{blanked}, {word}" if word.isalpha() else blanked


def number_equals(checks: Sequence[CheckDecided]) -> list[int]:
    """Return for each check of one attempt its number among those of the same form, from 1."""
    order = sorted(range(len(checks)), key=lambda at: (_place(checks[at].place), at))
    counted: Counter[tuple[int, str, str]] = Counter()
    numbers = [0] * len(checks)
    for at in order:
        check = checks[at]
        key = (check.step, check.signal, form_of(check.wanted, check.when))
        counted[key] += 1
        numbers[at] = counted[key]
    return numbers


@lru_cache(maxsize=1 << 14)
def measured(got: str) -> tuple[float | None, str]:
    """Return the number and the unit that a value shows; None where it is no number.

    >>> measured("-12.48 degC"), measured("amber"), measured("127 of 127 answers")
    ((-12.48, 'degC'), (None, ''), (None, ''))
    """
    match = _MEASURED.fullmatch(got)
    return (float(match[1]), match[2] or "") if match else (None, "")


def _place(place: str) -> tuple[int, ...]:
    """Return line and column of a place, as numbers."""
    return tuple(_whole(place.rsplit(":", 2)[1:]))


def _whole(parts: Iterable[str]) -> Iterable[int]:
    return (int(part) for part in parts if part.isdigit())
