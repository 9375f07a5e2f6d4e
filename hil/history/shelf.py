"""Connections to a history, and what goes wrong with them.

SQLite   write-ahead log, `synchronous NORMAL`; a writer begins with BEGIN IMMEDIATE, so that two
         writers wait for each other instead of failing half-way; the driver begins nothing itself
Postgres a writer takes an advisory lock of its transaction, for the same reason

A write is one transaction: it is there whole or not at all, also after kill -9.  Whatever a
database says is turned into StoreError here, once.  Tries are counted, never timed.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hil.core.error import DescriptionError, Mark, Mistake, StoreError
from hil.history.place import Place, place_of

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

PATIENCE = 10
"""Seconds for which a writer waits for another one (`?timeout=` in the URL of a SQLite file)."""

ATTEMPTS = 5
_LOCK = 0x72_61_63_6B  # any number, the same for all writers


class Shelf:
    """One history.  `writing` and `reading` are transactions; `close` when done."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self._engines: dict[bool, Engine] = {}

    @contextmanager
    def writing(self) -> Iterator["Connection"]:
        """Open a transaction that writes; tables are made or brought up to date first."""
        from hil.history.schema import migrate

        with self._told(), self._connected(write=True) as connection, connection.begin():
            migrate(connection)
            yield connection

    @contextmanager
    def reading(self) -> Iterator["Connection"]:
        """Open a transaction that reads.

        Raises DescriptionError where there is no history, StoreError where it cannot be read.
        """
        from hil.history.schema import STEPS, migrate, version_of

        self._refuse_nothing()
        with self._told():
            with self._connected(write=False) as connection, connection.begin():
                version = version_of(connection)
                if version == len(STEPS):
                    yield connection
                    return
            if version == 0:
                raise _nothing(self.place)
            with self._connected(write=True) as connection, connection.begin():
                migrate(connection)
                yield connection

    def close(self) -> None:
        """Close every connection."""
        for engine in self._engines.values():
            engine.dispose()
        self._engines.clear()

    @contextmanager
    def _connected(self, *, write: bool) -> Iterator["Connection"]:
        connection = self._connect(write)
        try:
            yield connection
        finally:
            connection.close()

    def _connect(self, write: bool) -> "Connection":
        """Connect, and again where others are just making the same file."""
        from sqlalchemy.exc import OperationalError
        from tenacity import Retrying, retry_if_exception, stop_after_attempt, wait_exponential

        tries = Retrying(
            stop=stop_after_attempt(ATTEMPTS),
            wait=wait_exponential(multiplier=0.05),
            retry=retry_if_exception(
                lambda error: isinstance(error, OperationalError) and "locked" in str(error.orig)
            ),
            reraise=True,
        )
        engine = self._engine(write)
        return tries(engine.connect).execution_options(history_writes=write)

    def _engine(self, write: bool) -> "Engine":
        if write not in self._engines:
            self._engines[write] = _engine(self.place, write)
        return self._engines[write]

    def _refuse_nothing(self) -> None:
        if self.place.file is not None and not self.place.file.exists():
            raise _nothing(self.place)

    @contextmanager
    def _told(self) -> Iterator[None]:
        from sqlalchemy.exc import SQLAlchemyError

        from hil.history.schema import TooNew

        try:
            yield
        except TooNew as error:
            raise StoreError(
                f"the history {self.place.shown} is of a later version of this tool ({error})"
            ) from error
        except (SQLAlchemyError, OSError, sqlite3.Error) as error:
            reason = _reason(error, self.place)
            raise StoreError(f"the history {self.place.shown} {reason}") from error


@contextmanager
def reading_from(history: str) -> Iterator["Connection"]:
    """Open the history at a place, as somebody wrote it, for one transaction that reads.

    Raises DescriptionError for no such place or no history there, StoreError as `Shelf.reading`.
    """
    with closing(Shelf(place_of(history))) as shelf, shelf.reading() as connection:
        yield connection


def _nothing(place: Place) -> DescriptionError:
    what = "there is no history here; the first run makes one"
    return DescriptionError([Mistake(Mark(place.shown), what)])


def _engine(place: Place, write: bool) -> "Engine":
    from sqlalchemy import create_engine, event, make_url
    from sqlalchemy.exc import ArgumentError
    from sqlalchemy.pool import NullPool

    try:
        url = make_url(place.url)
    except (ArgumentError, ValueError) as error:
        what = f"{place.shown} is no address of a history ({error})"
        raise DescriptionError([Mistake(Mark("--history"), what)]) from error
    if url.get_backend_name() != "sqlite":
        return _server(place, url)
    patience = {} if "timeout" in url.query else {"timeout": PATIENCE}
    if not write and place.file is not None and not _writable(place.file):
        url = url.set(database=f"file:{place.file}", query=_read_only(place))
    engine = create_engine(url, connect_args=patience, poolclass=NullPool)
    event.listen(engine, "connect", _open_writer if write else _open_reader)
    event.listen(engine, "begin", _begin)
    return engine


def _server(place: Place, url: Any) -> "Engine":
    from sqlalchemy import create_engine, event

    try:
        engine = create_engine(url, connect_args={"connect_timeout": PATIENCE})
    except ImportError as error:
        what = f"{place.shown} needs a driver that is not installed"
        hint = "pip install 'rackproof[postgres]'"
        raise DescriptionError([Mistake(Mark("--history"), what, hint)]) from error
    event.listen(engine, "begin", _take_turn)
    return engine


def _read_only(place: Place) -> dict[str, str]:
    """Return how SQLite reads a file in a folder that it may not write to.

    A log beside the file belongs to a writer that is at work, who shares its index; without a log
    nobody writes, and nothing beside the file is needed.
    """
    log = Path(f"{place.file}-wal")
    return {"uri": "true", **({"mode": "ro"} if log.exists() else {"immutable": "1"})}


def _writable(file: Path) -> bool:
    return os.access(file, os.W_OK) and os.access(file.parent, os.W_OK)


def _open_reader(connection: Any, record: object) -> None:
    connection.isolation_level = None


def _open_writer(connection: Any, record: object) -> None:
    connection.isolation_level = None
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = NORMAL")


def _begin(connection: "Connection") -> None:
    writes = connection.get_execution_options().get("history_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _take_turn(connection: "Connection") -> None:
    if connection.get_execution_options().get("history_writes", False):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")


_UNOPENED = "cannot be opened"
_UNWRITABLE = "cannot be written: its folder is read-only"
_SAID = (
    ("locked", "is locked by another process"),
    ("disk is full", "was not written: the disk is full"),
    ("readonly database", "cannot be written: it is read-only"),
    ("unable to open", "cannot be opened: there is no such folder"),
    ("not a database", "is no history: another file has this name"),
    ("disk I/O error", "was not written: the disk refuses (disk I/O error)"),
)


def _reason(error: Exception, place: Place) -> str:
    told = str(getattr(error, "orig", None) or error).strip() or type(error).__name__
    folder = None if place.file is None else place.file.parent
    if "unable to open" in told and folder is not None and folder.is_dir():
        return _UNOPENED if os.access(folder, os.W_OK) else _UNWRITABLE
    for sign, words in _SAID:
        if sign in told:
            return words
    return f"cannot be used: {told.splitlines()[0]}"
