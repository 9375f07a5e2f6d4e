"""Patterns that lines are compared with: regular expressions that can never take for ever.

A backtracking matcher tries every way in which the parts of a pattern can share a line among
themselves.  Most patterns leave it one way; some leave exponentially many (`(a+)+`), and a console
that prints the wrong line then holds the whole run.  So a pattern is read part by part here, and
whatever could be shared in many ways is refused when the file is read:

    (a+)+  (a|b)*        a repeated group with a choice inside           refused
    .*: .*: .*:          parts that can run over what follows them       one is fine, more refused
    [^:]*: [^:]*: \\S+    parts that end where the next begins            any number
    (?=…)  \\1  (?i)      anything beyond what is listed below            refused

With one part that can run over, matching takes at most the square of a line's length, and a line
has at most LONGEST characters.  Patterns see ASCII classes: `\\d` is 0 to 9.
"""

import re
import warnings
from collections.abc import Iterator

from hil.wire.console.pattern_text import (
    Chars,
    Choice,
    Edge,
    Part,
    PatternError,
    PatternReader,
    Repeat,
    Set,
)

LONGEST = 1_024
"""The longest line that is ever compared with a pattern, in octets."""

MOST = 1_000
"""How long a pattern may be, in characters."""


def read_pattern(text: str) -> re.Pattern[str]:
    """Return a compiled pattern that is safe to match.  Raises PatternError with the reason."""
    if not text or len(text) > MOST:
        raise PatternError(f"expected a pattern of 1 to {MOST} characters, got {len(text)}")
    tree = PatternReader(text).read()
    for option in tree.options:
        _refuse_nesting(option)
    loose = sum(_loose(tree.options, frozenset()))
    if loose > 1:
        raise PatternError(
            f"{loose} parts of it can run over what follows them, which may take for ever; "
            "say where each ends, such as `[^:]*` instead of `.*`"
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # it warns of what will mean something else one day
            return re.compile(text, re.ASCII)
    except (re.error, Warning, OverflowError, RecursionError) as error:
        raise PatternError(f"is no regular expression: {error}") from error


def last_character(text: str) -> str:
    """Return the character that every match of a pattern ends with; empty where there is none."""
    options = PatternReader(text).read().options
    ends = {_end_of(option) for option in options}
    return ends.pop() if len(ends) == 1 else ""


def _end_of(option: list[Part]) -> str:
    parts = [part for part in option if not isinstance(part, Edge)]
    if not parts:
        return ""
    last = parts[-1]
    if isinstance(last, Repeat):
        last = last.part if last.least else Choice([[]])
    if isinstance(last, Choice):
        ends = {_end_of(inner) for inner in last.options}
        return ends.pop() if len(ends) == 1 else ""
    return last.only


def _refuse_nesting(parts: list[Part]) -> None:
    """Refuse a group that is repeated and can itself match in several ways."""
    for part in parts:
        inner = part.part if isinstance(part, Repeat) else part
        if not isinstance(inner, Choice):
            continue
        several = isinstance(part, Repeat) and part.most != 1
        if several and (len(inner.options) > 1 or any(map(_varies, inner.options))):
            raise PatternError(
                "repeats a group that has a repetition or a choice inside, which may take for ever"
            )
        for option in inner.options:
            _refuse_nesting(option)


def _varies(parts: list[Part]) -> bool:
    for part in parts:
        if isinstance(part, Repeat) and part.least != part.most:
            return True
        inner = part.part if isinstance(part, Repeat) else part
        if isinstance(inner, Choice) and (len(inner.options) > 1 or _varies(inner.options[0])):
            return True
    return False


def _loose(options: list[list[Part]], follow: Set) -> Iterator[int]:
    """Count the parts that leave the matcher a choice: each may stop at more than one place."""
    for option in options:
        after = follow
        for part in reversed(option):
            yield from _loose_part(part, after)
            first, empty = _first(part)
            after = first | after if empty else first
    seen: set[int] = set()
    for option in options if len(options) > 1 else ():
        first, empty = _first_of(option)
        begins = first | follow if empty else first
        yield int(bool(seen & begins))
        seen |= begins


def _loose_part(part: Part, after: Set) -> Iterator[int]:
    if isinstance(part, Choice):
        yield from _loose(part.options, after)
    elif isinstance(part, Repeat):
        if isinstance(part.part, Choice):
            yield from _loose(part.part.options, after)
        yield int(part.least != part.most and bool(_first(part.part)[0] & after))


def _first(part: Part) -> tuple[Set, bool]:
    """Return what a part can begin with, and whether it may be nothing at all."""
    if isinstance(part, Chars):
        return part.chars, False
    if isinstance(part, Edge):
        return frozenset(), True
    if isinstance(part, Repeat):
        first, empty = _first(part.part)
        return first, empty or part.least == 0
    found = [_first_of(option) for option in part.options]
    return frozenset().union(*(first for first, _ in found)), any(empty for _, empty in found)


def _first_of(parts: list[Part]) -> tuple[Set, bool]:
    chars: Set = frozenset()
    for part in parts:
        first, empty = _first(part)
        chars |= first
        if not empty:
            return chars, False
    return chars, True
