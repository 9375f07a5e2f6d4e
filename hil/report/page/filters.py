"""How values are shown in the pages; every one of them takes anything a journal may hold."""

import re
from typing import TypeGuard

from markupsafe import Markup

from hil.core.event import CheckDecided
from hil.core.instant import Duration, show_duration
from hil.core.verdict import Outcome
from hil.report.page.gathering import outcome_named
from hil.report.story import seconds, spaced_hex
from hil.report.visible import visible_line

MARKS = {
    Outcome.PASS: "●",
    Outcome.FAIL: "■",
    Outcome.UNSTABLE: "◆",
    Outcome.INCONCLUSIVE: "▲",
    Outcome.ERROR: "▼",
    Outcome.SKIPPED: "○",
    Outcome.NOT_RUN: "□",
}
"""A shape for each verdict beside its word."""

OTHER_MARK = "◇"
NONE = "–"
_SAFE = re.compile(r"[^a-z0-9-]+")
_LONGEST_TIME = 2**62


def mark(outcome: Outcome | str) -> str:
    """Return the shape of a verdict."""
    return MARKS.get(_verdict(outcome), OTHER_MARK)


def slug(word: object) -> str:
    """Return a word as a class of the style sheet."""
    return _SAFE.sub("-", str(word).lower()).strip("-") or "none"


def duration(nanoseconds: object) -> str:
    """Return a length of time for people."""
    if not _whole(nanoseconds):
        return NONE
    return show_duration(Duration(max(-_LONGEST_TIME, min(nanoseconds, _LONGEST_TIME))))


def clock(nanoseconds: object) -> str:
    """Return seconds with six decimals, for lines that are compared with each other."""
    if not _whole(nanoseconds):
        return NONE
    sign = "−" if nanoseconds < 0 else "+"
    return f"{sign}{seconds(abs(nanoseconds), 6)}"


def margin(value: float | None) -> str:
    """Return a margin with its sign."""
    return NONE if value is None else f"{value:+.2f}"


def margin_class(value: float | None) -> str:
    """Return the class whose bar shows a margin: m0 to m10, `mx` below the limit."""
    if value is None:
        return "mn"
    return "mx" if value < 0 else f"m{min(10, round(value * 10))}"


def answer(check: CheckDecided) -> str:
    """Return the time to answer; an interval where the change lies in one."""
    if check.elapsed is None:
        return NONE
    if check.change is not None and check.change[0] != check.change[1]:
        return f"{duration(check.change[0])} to {duration(check.change[1])}"
    return duration(check.elapsed)


def looks(check: CheckDecided) -> str:
    """Return how often it was looked, and the longest time between two looks."""
    if check.gap is None:
        return NONE if not check.seen else f"{check.seen}"
    return f"{check.seen}, {duration(check.gap)}"


def number(value: object) -> str:
    """Return a figure with four significant digits."""
    return f"{value:.4g}" if isinstance(value, (int, float)) else NONE


def figure(value: float | None, unit: str) -> str:
    """Return a figure with its unit; times are in nanoseconds in the journal."""
    if value is None:
        return "open"
    if unit == "ns":
        return duration(round(value)) if abs(value) < _LONGEST_TIME else NONE
    return f"{value:.4g} {unit}".strip()


def hexed(text: object) -> str:
    """Return hex digits in pairs."""
    return spaced_hex(str(text))


def finish(value: object) -> object:
    """Make every text visible before it is escaped: control signs, marks that turn a line."""
    if isinstance(value, Markup):
        return value
    return visible_line(value) if isinstance(value, str) else value


def _verdict(outcome: Outcome | str) -> Outcome:
    return outcome if isinstance(outcome, Outcome) else outcome_named(outcome)


def _whole(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool)


def signed(text: str) -> str:
    """Return a number with its sign, as it is where it has one, is nothing, or is no number.

    >>> signed("0.2"), signed("-0.2"), signed("0"), signed("")
    ('+0.2', '-0.2', '0', '')
    """
    plain = re.fullmatch(r"\d+(\.\d+)?", text) is not None and re.search(r"[1-9]", text) is not None
    return f"+{text}" if plain else text


FILTERS = {
    "mark": mark,
    "slug": slug,
    "duration": duration,
    "clock": clock,
    "margin": margin,
    "margin_class": margin_class,
    "answer": answer,
    "looks": looks,
    "number": number,
    "figure": figure,
    "hexed": hexed,
    "signed": signed,
}
