"""What kind of file it is: its first key says so."""

import re
from enum import Enum
from os import PathLike

from hil.files.mistake import Page
from hil.files.tree import Map, Node


class FileKind(Enum):
    """The kinds of files that people write, by their first key."""

    BENCH = "bench"
    PLAN = "plan"
    ALARMS = "alarms"
    KNOWN = "known-faults"

    @property
    def words(self) -> str:
        """Say what it is."""
        return _WORDS[self]


_WORDS = {
    FileKind.BENCH: "a bench file",
    FileKind.PLAN: "a plan file",
    FileKind.ALARMS: "an alarm spec file",
    FileKind.KNOWN: "a file of known faults",
}

_WHERE = {
    FileKind.BENCH: "name it with --bench",
    FileKind.PLAN: "name it after `hil run`",
    FileKind.ALARMS: "name it after `hil alarms prove`",
    FileKind.KNOWN: "name it with --known of `hil run`",
}
"""Where a file of that kind has its place."""

_FIRST_KEY = re.compile(rb"(?:\s*(?:#[^\n]*|---[^\n]*)?\n)*[\"']?([\w-]+)[\"']?\s*:")
_BEGINNING = 64 * 1024


def kind_of(path: str | PathLike[str]) -> FileKind:
    """Return the kind of a file; a plan where it cannot be told, whose reader says what is wrong."""
    try:
        with open(path, "rb") as file:
            found = _FIRST_KEY.match(file.read(_BEGINNING).removeprefix(b"\xef\xbb\xbf"))
    except OSError:
        return FileKind.PLAN
    key = found[1].decode("utf-8", "replace") if found is not None else ""
    return next((kind for kind in FileKind if kind.value == key), FileKind.PLAN)


def is_another(root: Node, wanted: FileKind, page: Page) -> bool:
    """Say whether a file is one of another kind, by its first key; that then is its one mistake."""
    keys = root.pairs if isinstance(root, Map) else {}
    if wanted.value in keys:
        return False
    first = next(iter(keys), "")
    found = next((kind for kind in FileKind if kind.value == first), None)
    if found is None:
        return False
    what = f"this is {found.words}, expected {wanted.words}"
    page.wrong(root, what, _WHERE[found])
    return True
