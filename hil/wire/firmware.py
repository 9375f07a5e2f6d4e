"""Firmware versions: text, compared part by part, so that 1.9 < 1.10 < 1.10.1.

A run of digits is a number, a run of letters a word; a version that ends where another has a word
is the later one (1.10-rc1 < 1.10), and the earlier one where the other has a number.
A requirement is a version alone (exactly that), one with an operator (`>= 1.10`), or several of
them with commas between, all of which must hold.
"""

import operator
import re
from collections.abc import Callable

_PARTS = re.compile(r"\d+|[a-z]+", re.IGNORECASE)
_REQUIREMENT = re.compile(r"\s*(>=|<=|==|=|>|<)?\s*([0-9A-Za-z][0-9A-Za-z.+_-]*)\s*")
_END: tuple[int, str, int] = (1, "", 0)

Key = tuple[tuple[int, str, int], ...]

_OPERATORS: dict[str, Callable[[Key, Key], bool]] = {
    ">=": operator.ge,
    ">": operator.gt,
    "=": operator.eq,
    "==": operator.eq,
    "<": operator.lt,
    "<=": operator.le,
}


def version_key(version: str) -> Key:
    """Return what versions are ordered by.

    >>> version_key("1.9") < version_key("1.10") < version_key("1.10.1")
    True
    """
    parts = _PARTS.findall(version)
    ranked = [(2, "", int(part)) if part.isdigit() else (0, part.lower(), 0) for part in parts]
    return (*ranked, _END)


def requirement_problem(requirement: str) -> str:
    """Say what is wrong with a requirement as written; empty where nothing is."""
    for part in requirement.split(","):
        if not _REQUIREMENT.fullmatch(part):
            return f"{part.strip()!r} is no version requirement like 1.10 or >= 1.10"
    return ""


def satisfies(version: str, requirement: str) -> bool:
    """Say whether a version meets a requirement; an empty requirement is always met."""
    if not requirement.strip():
        return True
    got = version_key(version)
    for part in requirement.split(","):
        match = _REQUIREMENT.fullmatch(part)
        if match is None or not _OPERATORS[match[1] or "="](got, version_key(match[2])):
            return False
    return True
