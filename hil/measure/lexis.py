"""The words of an expression: numbers, units behind numbers, names, signs.

    console.feed-reading = round(feedline.pressure, 1) ± 0.05 bar
    name                 sign name … sign number         number unit

* A hyphen inside a name belongs to the name (`vane-1`); minus behind a name has a space before it.
* A word right behind a number is its unit: `0.05 bar`, `50 deg/s`, `5 %`.
* Nothing else exists: no quotes, brackets of other kinds, assignments, colons, comments.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

LENGTH_LIMIT = 500
TOKEN_LIMIT = 200
DIGIT_LIMIT = 30
POWER_OF_TEN_LIMIT = 30


class ExpressionError(ValueError):
    """The text is no expression we take: where (column from 1), what, and what to try."""

    def __init__(self, column: int, what: str, hint: str = "") -> None:
        self.column = column
        self.what = what
        self.hint = hint
        super().__init__(f"{column}: {what}" + (f"\n    try: {hint}" if hint else ""))


class Sort(Enum):
    """What a token is."""

    NUMBER = "a number"
    UNIT = "a unit"
    NAME = "a name"
    SIGN = "a sign"
    END = "the end"


@dataclass(frozen=True, slots=True)
class Token:
    """One word and where it begins, from 1."""

    sort: Sort
    text: str
    column: int


_NUMBER = re.compile(r"(\d+(?:\.\d+)?)(?:[eE]([+-]?\d+))?")
_NAME = re.compile(r"[^\W\d]\w*(?:[.-]\w+)*")
_WORD = r"(?![^\W\d]\w*(?:-\w+)*[.(])(?:[^\W\d_]|[%°])[\w%°]*+(?:\^-?[1-3])?+"  # no signal, no call
_UNIT = re.compile(rf"(?:1/)?{_WORD}(?:[/·*]{_WORD}){{0,3}}")
_SIGN = re.compile(r"\+/-|\*\*|[<>!=]=|[-+*/^(),±=<>≤≥≠]")
_SAME = {"+/-": "±", "**": "^", "≤": "<=", "≥": ">=", "≠": "!=", "==": "=", "−": "-"}
_NOT_TAKEN = {
    "'": ("text cannot be compared here", "`signal` with `value`"),
    '"': ("text cannot be compared here", "`signal` with `value`"),
    "[": ("there are no subscripts", "a signal by its name, node.signal"),
    "{": ("there are no braces", "round brackets"),
    ":": ("there are no colons", "two relations, or min and max"),
    ".": ("a dot stands only inside a name or a number", "node.signal, or 0.5"),
    "_": ("a name begins with a letter", "node.signal"),
    "&": ("there is no `and`", "two relations"),
    "|": ("there is no `or`", "min or max"),
    ";": ("there is one relation in a text", "two relations"),
    "%": ("it stands only behind a number", "5 %"),
}
_SHORTER = "two relations, each shorter"
_ANYTHING = "signals, numbers with units, + - * / ^ and brackets"


def tokens(text: str) -> list[Token]:
    """Split a text into tokens, END last; raises ExpressionError with the column."""
    if len(text) > LENGTH_LIMIT:
        raise ExpressionError(LENGTH_LIMIT + 1, f"longer than {LENGTH_LIMIT} characters", _SHORTER)
    found = list(_tokens(text.replace("−", "-")))
    if len(found) > TOKEN_LIMIT:
        raise ExpressionError(found[TOKEN_LIMIT].column, f"more than {TOKEN_LIMIT} parts", _SHORTER)
    return [*found, Token(Sort.END, "", len(text) + 1)]


def _tokens(text: str) -> Iterator[Token]:
    place, behind_number = 0, False
    while place < len(text):
        if text[place] in " \t\n":
            place += 1
            continue
        token, place = _next(text, place, behind_number)
        behind_number = token.sort is Sort.NUMBER
        yield token


def _next(text: str, place: int, behind_number: bool) -> tuple[Token, int]:
    column = place + 1
    if behind_number and (match := _UNIT.match(text, place)):
        return Token(Sort.UNIT, match[0], column), match.end()
    if match := _NUMBER.match(text, place):
        _check_number(match, column)
        return Token(Sort.NUMBER, match[0], column), match.end()
    if match := _NAME.match(text, place):
        if match[0].startswith("_") or "__" in match[0] or "._" in match[0]:
            why, hint = _NOT_TAKEN["_"]
            shorter = re.split(r"\._|__|^_", match[0])[0]
            what = f"{match[0]} cannot be a name: {why}"
            raise ExpressionError(column, what, shorter if "." in shorter else hint)
        return Token(Sort.NAME, match[0], column), match.end()
    if match := _SIGN.match(text, place):
        return Token(Sort.SIGN, _SAME.get(match[0], match[0]), column), match.end()
    why, hint = _NOT_TAKEN.get(text[place], ("", _ANYTHING))
    what = f"{text[place]!r} has no meaning here" if text[place].isprintable() else "odd character"
    raise ExpressionError(column, f"{what}: {why}" if why else what, hint)


def _check_number(match: re.Match[str], column: int) -> None:
    if len(match[1]) > DIGIT_LIMIT:
        what = f"a number of more than {DIGIT_LIMIT} digits"
        raise ExpressionError(column, what, "a rounded one")
    power = match[2] or "0"
    if len(power) > 4 or abs(int(power)) > POWER_OF_TEN_LIMIT:
        what = f"a power of ten beyond {POWER_OF_TEN_LIMIT}"
        raise ExpressionError(column, what, "a larger or smaller unit")
    if not match[0].isascii():
        raise ExpressionError(column, "digits other than 0 to 9", "0 to 9")
