"""The consoles of a run as text: `console-NODE.log`, every line with its time, as it comes.

       1.459885 > set rate 0          said by the tool
       1.465735   ok rate=0           said by the node
       1.470112   aaaaaaaa …          a piece of a line that was too long

Times are seconds since the run began, as in the journal, so a line can be laid beside datagrams.
A log that grew large is packed at the end of the run, as `console-NODE.log.gz`.
"""

import gzip
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from hil.core.error import StoreError
from hil.core.event import ConsoleLine
from hil.report import journal
from hil.report.journal import read_line
from hil.report.visible import visible_line

PACKED_FROM = 8_000_000
"""Octets from which on a log is packed."""


def log_name(node: str) -> str:
    """Return the file name of a node's log.

    >>> log_name("servo-1")
    'console-servo-1.log'
    """
    return f"console-{re.sub(r'[^A-Za-z0-9._-]', '_', node)}.log"


def log_line(line: ConsoleLine) -> str:
    """Return one line of a log."""
    micros = line.at // 1_000
    sign = ">" if line.way == "out" else " "
    more = " …" if line.cut else ""
    shown = visible_line(line.text)
    return f"{micros // 1_000_000:8d}.{micros % 1_000_000:06d} {sign} {shown}{more}\n"


class ConsoleLogs:
    """The logs of one run, written as lines come; never raises, see `faults`.

    Those of `packed_from` octets or more are packed at the end.
    """

    def __init__(self, folder: Path, *, packed_from: int = PACKED_FROM) -> None:
        self._folder = folder
        self._packed_from = packed_from
        self._files: dict[str, IO[str]] = {}
        self._broken: set[str] = set()
        self.faults: list[StoreError] = []

    def receive(self, line: ConsoleLine) -> None:
        """Write one line; after the first failure of a log nothing more is written to it."""
        if line.node in self._broken:
            return
        try:
            file = self._files.get(line.node)
            if file is None:
                path = self._folder / log_name(line.node)
                # buffered by line: what is there can be followed, and a killed run keeps it
                file = path.open("w", encoding="utf-8", errors="backslashreplace", buffering=1)
                self._files[line.node] = file
            file.write(log_line(line))
        except OSError as error:
            self._note(line.node, error)

    def close(self) -> None:
        """End the logs, and pack those that are large."""
        for node, file in self._files.items():
            try:
                file.close()
                path = self._folder / log_name(node)
                if path.stat().st_size >= self._packed_from:
                    _pack(path)
            except OSError as error:
                self._note(node, error)
        self._files.clear()

    def _note(self, node: str, error: OSError) -> None:
        if node not in self._broken:
            path = self._folder / log_name(node)
            self.faults.append(StoreError(f"{path} is not complete ({error.strerror or error})"))
            self._broken.add(node)


def rebuild_logs(folder: Path) -> None:
    """Write the console logs of a run again, from its journal.  Raises StoreError."""
    logs = ConsoleLogs(folder)
    for line in _console_lines(folder / journal.NAME):
        logs.receive(line)
    logs.close()
    if logs.faults:
        raise logs.faults[0]


def _console_lines(path: Path) -> Iterator[ConsoleLine]:
    try:
        with path.open("rb") as file:
            for octets in file:
                if b'"event":"console-line"' in octets[:60]:
                    event = read_line(octets)
                    if isinstance(event, ConsoleLine):
                        yield event
    except OSError as error:
        raise StoreError(f"{path} cannot be read: {error.strerror or error}") from error


def _pack(path: Path) -> None:
    packed = path.with_name(f"{path.name}.gz")
    with path.open("rb") as plain, gzip.open(packed, "wb", compresslevel=4) as target:
        shutil.copyfileobj(plain, target, 1 << 20)
    path.unlink()
