"""Mistakes in a file the user wrote: collected, never raised one by one.

A `Page` is one file being read.  Whatever is wrong on it is noted with its place, and reading goes
on, so that one run names every mistake.  Functions that type one piece of text raise `Misread`,
which never leaves this package: the page turns it into a mistake.
"""

import difflib
import hashlib
from collections.abc import Iterable
from functools import cached_property
from typing import Protocol

from hil.core.error import Mark, Mistake


class Misread(Exception):
    """One text is not what it should be: `what` in one sentence, `hint` what to write instead."""

    def __init__(self, what: str, hint: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.hint = hint


class Placed(Protocol):
    """Anything with a place on a page; line and column count from 1."""

    line: int
    column: int


class Page:
    """One file being read: its name, its text, and the mistakes found on it so far."""

    def __init__(self, file: str, raw: bytes) -> None:
        self.file = file
        self.raw = raw
        self.text = ""
        self._mistakes: dict[Mistake, None] = {}
        self._passed_over = 0
        self._lines: list[str] | None = None
        self.strangers: set[str] = set()
        """The nodes it names that the bench does not have."""

    def mark(self, place: Placed) -> Mark:
        """Return the place as the rest of the project knows it."""
        return Mark(self.file, place.line, place.column)

    def wrong(self, place: Placed, what: str, hint: str = "") -> None:
        """Note a mistake; the same one at the same place is noted once.

        Where a variable has no value (hil.files.tree.Unfilled) that is the one mistake, and it is
        noted already: whatever else is wrong there only counts.
        """
        if getattr(place, "unfilled", False):
            self._passed_over += 1
            return
        self._mistakes[Mistake(self.mark(place), what, hint)] = None

    def warn(self, place: Placed, what: str, hint: str = "") -> None:
        """Note something that is odd but may be meant."""
        self._mistakes[Mistake(self.mark(place), what, hint, True)] = None

    def wrong_at(self, line: int, column: int, what: str, hint: str = "") -> None:
        """Note a mistake at a place that is no node of the tree."""
        self._mistakes[Mistake(Mark(self.file, line, column), what, hint)] = None

    def take(self, mistakes: Iterable[Mistake]) -> None:
        """Note the mistakes of another file, which this one names."""
        self._mistakes.update(dict.fromkeys(mistakes))

    def line_from(self, place: Placed) -> str:
        """Return the rest of the source line at a place."""
        return self._line(place)[place.column - 1 :]

    def line_up_to(self, place: Placed) -> str:
        """Return the source line before a place."""
        return self._line(place)[: place.column - 1]

    def _line(self, place: Placed) -> str:
        if self._lines is None:
            self._lines = self.text.split("\n")
        return self._lines[place.line - 1] if place.line <= len(self._lines) else ""

    @cached_property
    def has_variables(self) -> bool:
        """Whether `${` stands anywhere in the text."""
        return "${" in self.text

    def digest(self) -> str:
        """Return the SHA-256 of the file's bytes."""
        return hashlib.sha256(self.raw).hexdigest()

    @property
    def count(self) -> int:
        """How many mistakes and warnings there are so far; what was passed over counts."""
        return len(self._mistakes) + self._passed_over

    @property
    def mistakes(self) -> list[Mistake]:
        """The mistakes, in the order of the file."""
        return sorted(mistake for mistake in self._mistakes if not mistake.warning)

    @property
    def warnings(self) -> list[Mistake]:
        """The warnings, in the order of the file."""
        return sorted(mistake for mistake in self._mistakes if mistake.warning)


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the known word most like this one, or an empty text where none is near.

    >>> nearest("presure", ["pressure", "lamp"])
    'pressure'
    """
    choices = list(known)
    folded = {choice.casefold(): choice for choice in choices}
    if word.casefold() in folded:
        return folded[word.casefold()]
    close = difflib.get_close_matches(word[:60], choices, n=1, cutoff=0.6)
    return close[0] if close else ""


def listed(words: Iterable[str], joint: str = "or") -> str:
    """Join words for a sentence, each in backquotes.

    >>> listed(["a", "b", "c"])
    '`a`, `b` or `c`'
    """
    quoted = [f"`{word}`" for word in words]
    if len(quoted) < 2:
        return "".join(quoted)
    return f"{', '.join(quoted[:-1])} {joint} {quoted[-1]}"


_SHOWN = 60


def show(text: str) -> str:
    """Render a piece of the file for a message: one line, in backquotes, not too long."""
    flat = " ".join(text.split())
    visible = "".join(
        letter if letter.isprintable() else f"\\x{ord(letter):02x}" for letter in flat
    )
    return f"`{visible}`" if len(visible) <= _SHOWN else f"`{visible[: _SHOWN - 3]}...`"
