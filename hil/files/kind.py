"""What kind of file it is: its first key says so."""

import re
from enum import Enum
from os import PathLike


class FileKind(Enum):
    """The kinds of files that people write, by their first key."""

    BENCH = "bench"
    PLAN = "plan"
    ALARMS = "alarms"
    KNOWN = "known-faults"


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
