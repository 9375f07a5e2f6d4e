"""Standard output that may end before the command does.

A reader that goes away (`hil run --list | head`) is no fault: what it does not want to read is
dropped, and the command goes on to its own end and exit code; a run must still leave the rack
safe.  A disk that is full behind the output is one: it is told at the end, as lost evidence is.
"""

import io
import os
import sys
from types import TracebackType
from typing import cast

_GONE = (BrokenPipeError, ConnectionResetError)


class _Raw(io.RawIOBase):
    """A file descriptor that never refuses; `fault` is the first thing that went wrong with it."""

    def __init__(self, fd: int) -> None:
        self._fd = fd
        self._closed = False
        self.fault: OSError | None = None

    def writable(self) -> bool:
        return True

    def fileno(self) -> int:
        return self._fd

    def isatty(self) -> bool:
        return os.isatty(self._fd)

    def write(self, octets: "memoryview | bytes") -> int:  # type: ignore[override]
        if self._closed:
            return len(octets)
        try:
            return os.write(self._fd, octets)
        except _GONE:
            self._closed = True
        except OSError as error:
            self._closed = True
            self.fault = error
        return len(octets)


class Outlet:
    """Stands in for the process's own standard output and standard error while it is open."""

    def __init__(self) -> None:
        self._before = sys.stdout, sys.stderr
        self._raw: _Raw | None = None

    @property
    def fault(self) -> str:
        """What could not be written to standard output, in words; nothing while all is well."""
        fault = self._raw.fault if self._raw is not None else None
        if fault is None:
            return ""
        return f"standard output was not written: {fault.strerror or fault}"

    def __enter__(self) -> "Outlet":
        out, err = self._before
        if out is sys.__stdout__:
            sys.stdout, self._raw = _stand_in(out)
        if err is sys.__stderr__:
            sys.stderr, _ = _stand_in(err)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.flush()
        made, (sys.stdout, sys.stderr) = (sys.stdout, sys.stderr), self._before
        for stream, before in zip(made, self._before, strict=True):
            if stream is not before:
                stream.close()  # the descriptor stays open

    def flush(self) -> None:
        """Write what is still held back."""
        for stream in (sys.stdout, sys.stderr):
            stream.flush()


def _stand_in(stream: io.TextIOWrapper | None) -> tuple[io.TextIOWrapper, _Raw | None]:
    """Return a stream that does what this one does and never refuses; a closed one takes all."""
    if stream is None:
        return open(os.devnull, "w", encoding="utf-8"), None
    stream.flush()
    raw = _Raw(stream.fileno())
    made = io.TextIOWrapper(
        io.BufferedWriter(cast(io.RawIOBase, raw)),
        encoding=stream.encoding,
        errors=stream.errors,
        line_buffering=stream.line_buffering,
        write_through=stream.write_through,
    )
    return made, raw
