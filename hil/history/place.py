"""Where a history is kept: `reports/history.sqlite`, `sqlite:///path`, `postgresql://host/name`.

Importing this costs nothing: a command can refuse a wrong place before anything moves.
"""

import re
from dataclasses import dataclass
from pathlib import Path

from hil.core.error import DescriptionError, Mark, Mistake

NAME = "history.sqlite"
_SCHEME = re.compile(r"([A-Za-z][A-Za-z0-9+.-]*)://")
_DRIVERS = {
    "sqlite": "sqlite",
    "postgresql": "postgresql+psycopg",
    "postgres": "postgresql+psycopg",
    "postgresql+psycopg": "postgresql+psycopg",
}
_PASSWORD = re.compile(r"(://[^:/@\s]*:)[^@\s]*(@)")


@dataclass(frozen=True, slots=True)
class Place:
    """A history's address as SQLAlchemy takes it; `shown` is for people, without a password."""

    url: str
    shown: str
    file: Path | None


def place_of(text: str) -> Place:
    """Return the place that a path or a URL names.  Raises DescriptionError for another scheme."""
    scheme = _SCHEME.match(text)
    if scheme is None:
        file = Path(text)
        return Place(f"sqlite:///{file}", str(file), file)
    driver = _DRIVERS.get(scheme[1].lower())
    if driver is None:
        what = f"a history is a file, sqlite:// or postgresql://, got {without_password(text)}"
        raise DescriptionError([Mistake(Mark("--history"), what, "reports/history.sqlite")])
    rest = text[scheme.end() :]
    path = rest.removeprefix("/").partition("?")[0]
    file_of_url = Path(path) if driver == "sqlite" and path else None
    return Place(f"{driver}://{rest}", without_password(text), file_of_url)


def without_password(text: str) -> str:
    """Return a text in which the password of a URL is not to be read.

    >>> without_password("postgresql://rack:secret@db/history")
    'postgresql://rack:***@db/history'
    """
    return _PASSWORD.sub(r"\1***\2", text)
