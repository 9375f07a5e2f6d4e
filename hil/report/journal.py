"""The journal on disk: `journal.jsonl`, one line per event, each written before the next begins.

Writing.  Each event is one `write` of one whole line on a descriptor opened for appending; the
kernel has it from then on, so that a killed run keeps all it judged.  When the disk is full the
half-written line is taken back, a reserve kept since the start is given free, and from there on
only verdicts are written, no datagrams; the first refusal is kept in `fault`.

Reading.  A line that was cut short, is not JSON or is of no known kind is counted and passed over.
"""

import contextlib
import errno
import math
import os
import re
import types
import typing
from collections.abc import Callable, Iterator
from dataclasses import fields
from pathlib import Path

from hil.core.count import counted
from hil.core.error import StoreError
from hil.core.event import (
    KINDS,
    ConsoleLine,
    Datagram,
    Event,
    HostNoted,
    read,
    render,
    render_datagram,
)
from hil.core.instant import Instant

NAME = "journal.jsonl"
INCOMPLETE = "journal incomplete"
"""The trouble of the note with which a journal says that something is missing in it."""

_RESERVE_NAME = ".reserve"
_RESERVE_SIZE = 256 * 1024
_WHOLE = 1 << 63
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EROFS)


class JournalWriter:
    """The journal of one run; `fault` says what could not be written, None while all is well.

    Raises StoreError when it cannot be begun: nothing has moved yet.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / NAME
        self.fault: StoreError | None = None
        self.lost_events = 0
        self.lost_bytes = 0
        self._reserve = folder / _RESERVE_NAME
        self._size = 0
        try:
            self._make_reserve()
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND
            self._file = os.open(self.path, flags, 0o644)
        except OSError as error:
            raise StoreError(f"{self.path} was not begun: {error.strerror or error}") from error

    def record(self, event: Event) -> None:
        """Write one event; never raises, see `fault`."""
        self._write(render(event), type(event) not in (Datagram, ConsoleLine))

    def record_datagram(self, at: Instant, way: str, node: str, octets: bytes) -> None:
        """Write the Datagram event of these octets."""
        self._write(render_datagram(at, way, node, octets), False)

    @property
    def missing(self) -> HostNoted | None:
        """The note of what is missing so far; None where nothing is."""
        if self.fault is None:
            return None
        text = (
            f"the journal is not complete: missing are {counted(self.lost_events, 'event')}, "
            f"{counted(self.lost_bytes, 'byte')} ({self._reason})"
        )
        return HostNoted(at=Instant(0), trouble=INCOMPLETE, amount=self.lost_events, text=text)

    def close(self) -> None:
        """Sync and close; gives the reserve free for the reports."""
        self._free_reserve()
        if self._file < 0:
            return
        try:
            os.fsync(self._file)
        except OSError as error:
            if self.fault is None:
                self._note_fault(error.strerror or str(error))
        os.close(self._file)
        self._file = -1
        if self.fault is not None:
            self.fault = StoreError(
                f"{self.path} is not complete: missing are {counted(self.lost_events, 'event')}, "
                f"{counted(self.lost_bytes, 'byte')} ({self._reason})"
            )

    def _note_fault(self, reason: str) -> None:
        self._reason = reason
        self.fault = StoreError(f"{self.path} is not complete ({reason})")
        self._free_reserve()

    def _write(self, text: str, verdict: bool) -> None:
        line = text.encode("utf-8", "backslashreplace") + b"\n"
        if self.fault is None:
            try:
                written = os.write(self._file, line)
                while written < len(line):  # the next write says why this one was cut short
                    written += os.write(self._file, line[written:])
                self._size += written
                return
            except OSError as error:
                self._note_fault(error.strerror or str(error))
        self._write_in_need(verdict, line)

    def _write_in_need(self, verdict: bool, line: bytes) -> None:
        """Write a verdict into what room there is; a half line is taken back."""
        if verdict and self._file >= 0:
            with contextlib.suppress(OSError):
                os.ftruncate(self._file, self._size)
                if os.write(self._file, line) == len(line):
                    self._size += len(line)
                    return
        with contextlib.suppress(OSError):
            os.ftruncate(self._file, self._size)
        self.lost_events += 1
        self.lost_bytes += len(line)

    def _make_reserve(self) -> None:
        file = os.open(self._reserve, os.O_WRONLY | os.O_CREAT, 0o600)
        try:
            os.posix_fallocate(file, 0, _RESERVE_SIZE)
        except OSError as error:
            if error.errno in _NO_ROOM:
                self._free_reserve()
                raise
        finally:
            os.close(file)

    def _free_reserve(self) -> None:
        with contextlib.suppress(OSError):
            self._reserve.unlink()


class JournalReader:
    """The events of a journal in order; `unreadable` counts the lines passed over so far.

    With `datagrams` false the lines of datagrams are left out, which is much faster.
    Raises StoreError when the file itself cannot be read.
    """

    def __init__(self, path: Path, *, datagrams: bool = True) -> None:
        self.path = path
        self.unreadable = 0
        self._datagrams = datagrams

    def __iter__(self) -> Iterator[Event]:
        try:
            with self.path.open("rb") as file:
                for line in file:
                    if not self._datagrams and b'"event":"datagram"' in line[:60]:
                        continue
                    event = read_line(line)
                    if event is None:
                        self.unreadable += 1
                    else:
                        yield event
        except OSError as error:
            raise StoreError(f"{self.path} cannot be read: {error.strerror or error}") from error


_DATAGRAM = re.compile(
    rb'{"at":(0|[1-9][0-9]{0,17}),"event":"datagram","way":"(in|out)",'
    rb'"node":"([a-z0-9-]+)","hex":"([0-9a-f]*)"}\n'
)
"""A datagram as `render_datagram` writes it: most lines of a journal, read without JSON."""


def read_line(line: bytes) -> Event | None:
    """Read one line with its end; None where it was cut short, garbled, or of no known kind."""
    plain = _DATAGRAM.fullmatch(line)
    if plain is not None:
        at, way, node, octets = plain.groups()
        return Datagram(
            at=Instant(int(at)), way=way.decode(), node=node.decode(), hex=octets.decode()
        )
    if not line.endswith(b"\n"):
        return None
    try:
        event = read(line.decode("utf-8"))
    except (UnicodeDecodeError, RecursionError):
        return None
    if event is None:
        return None
    return event if all(fits(getattr(event, name)) for name, fits in _FITS[type(event)]) else None


Fits = Callable[[object], bool]


def _fits(kind: typing.Any) -> Fits:
    """Return what says whether a value read from JSON is of the type that its field declares.

    Made once for each field: a long journal has a million values.
    """
    if isinstance(kind, typing.NewType):
        kind = kind.__supertype__
    origin, parts = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return _one_of(tuple(map(_fits, parts)))
    if origin is tuple and parts[-1] is Ellipsis:
        return _row_of(_fits(parts[0]))
    if origin is tuple:
        return _places(tuple(map(_fits, parts)))
    if origin is dict:
        return _table(*map(_fits, parts))
    if kind is float:
        return lambda value: _is_whole(value) or (type(value) is float and math.isfinite(value))
    if kind is int:
        return _is_whole
    return lambda value: isinstance(value, kind)


def _is_whole(value: object) -> bool:
    """Say whether a value is a whole number of 64 bits: 292 years of nanoseconds, and no more."""
    return type(value) is int and -_WHOLE <= value < _WHOLE


def _one_of(kinds: tuple[Fits, ...]) -> Fits:
    return lambda value: any(fits(value) for fits in kinds)


def _row_of(fits: Fits) -> Fits:
    return lambda value: isinstance(value, tuple) and all(map(fits, value))


def _places(kinds: tuple[Fits, ...]) -> Fits:
    def fit(value: object) -> bool:
        if not isinstance(value, tuple) or len(value) != len(kinds):
            return False
        return all(fits(part) for fits, part in zip(kinds, value, strict=True))

    return fit


def _table(key: Fits, item: Fits) -> Fits:
    return lambda value: (
        isinstance(value, dict) and all(key(k) and item(v) for k, v in value.items())
    )


_FITS = {
    cls: tuple((field.name, _fits(field.type)) for field in fields(cls)) for cls in KINDS.values()
}
