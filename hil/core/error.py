"""Whose fault is it?

    HilError                    exit code
    ├── DescriptionError        2   a file the user wrote is wrong; carries every mistake found
    ├── BenchError              3   the bench cannot do its part
    │   └── BusyError           3   another run holds the rack
    └── StoreError              5   evidence could not be written

A node's wrong or missing answer is a verdict, a value, and is never raised.  Anything else that
escapes is our own bug (exit code 4, full traceback).
"""

from collections.abc import Sequence
from dataclasses import dataclass


class HilError(Exception):
    """The root of everything this project raises on purpose."""


@dataclass(frozen=True, slots=True, order=True)
class Mark:
    """A place in a file the user wrote; line and column count from 1, 0 means unknown."""

    file: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}" if self.line else self.file


@dataclass(frozen=True, slots=True, order=True)
class Mistake:
    """One thing wrong in a file: where, what (expected and got), and what to try."""

    mark: Mark
    what: str
    hint: str = ""
    warning: bool = False

    def __str__(self) -> str:
        word = "warning: " if self.warning else ""
        line = f"{self.mark}: {word}{self.what}"
        return f"{line}\n    try: {self.hint}" if self.hint else line


class DescriptionError(HilError):
    """A bench file, plan file or command line is wrong; `mistakes` holds all of it."""

    def __init__(self, mistakes: Sequence[Mistake]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__("\n".join(str(mistake) for mistake in self.mistakes))


class BenchError(HilError):
    """The bench cannot do its part: no interface, no port, no permission, no node process."""


class BusyError(BenchError):
    """Another run holds this rack."""


class StoreError(HilError):
    """Evidence could not be written; the message names the path and the reason."""
