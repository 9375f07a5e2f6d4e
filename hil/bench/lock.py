"""One run per rack: a lock that dies with its holder, and the mark of an unclean end.

All of it lies in a folder of the user's own (XDG_RUNTIME_DIR, else the temporary folder):

    NAME.lock       held with flock(2) while a run is on; its text says who holds it
    NAME.unclean    there from before the first command until every actuator is confirmed safe
    NAME.guard      what the guard did, if it had to (hil.bench.guard)

The kernel lets go of the lock when its holder dies, however it dies.  The files stay: what is
held is the lock, not the file.  A lock of one user does not see that of another.
"""

import fcntl
import hashlib
import json
import os
import re
import socket
import stat
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

from tenacity import Retrying, retry_if_exception_type, stop_after_attempt, wait_fixed

from hil.core.error import BenchError, BusyError

GUARD_ATTEMPTS = 60  # a guard needs at most about 3 s; a run waits that long for it
GUARD_PAUSE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """Who holds, or left, a rack; `since` is in UTC, for people."""

    run: str
    pid: int
    host: str
    since: str
    guard: bool = False

    def __str__(self) -> str:
        who = f"the guard of run {self.run}" if self.guard else f"run {self.run}"
        return f"{who}, process {self.pid} on {self.host}, since {self.since}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """An unclean end: who left the rack so, and what the guard did about it, in words."""

    holder: Holder
    guard: str

    def __str__(self) -> str:
        return f"the last run did not leave the rack safe ({self.holder}); {self.guard}"


class _GuardAtWork(BusyError):
    """The guard of a run that died is making the rack safe; it will soon be done."""


class RackLock:
    """Holds a rack for one run; made by `acquire`."""

    def __init__(self, fd: int, files: "_Files", holder: Holder) -> None:
        self._fd = fd
        self._files = files
        self.holder = holder

    @classmethod
    def acquire(cls, rack: str, run: str, *, attempts: int = GUARD_ATTEMPTS) -> "RackLock":
        """Take the rack; waits only for a guard at work.

        Raises BusyError naming the holder, and BenchError when the folder cannot be used.
        """
        files = _Files(rack)
        waiting = Retrying(
            retry=retry_if_exception_type(_GuardAtWork),
            stop=stop_after_attempt(attempts),
            wait=wait_fixed(GUARD_PAUSE),
            reraise=True,
        )
        return waiting(cls._take, rack, run, files)

    @classmethod
    def _take(cls, rack: str, run: str, files: "_Files") -> "RackLock":
        try:
            fd = os.open(files.lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
        except OSError as error:
            raise BenchError(f"the lock of rack {rack} cannot be opened: {error}") from error
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = _read_holder(files.lock)
            os.close(fd)
            kind = _GuardAtWork if holder is not None and holder.guard else BusyError
            raise kind(f"rack {rack} is busy: {holder or 'held by another run'}") from error
        holder = Holder(
            run=run, pid=os.getpid(), host=socket.gethostname(), since=_utc_now(), guard=False
        )
        os.ftruncate(fd, 0)
        os.pwrite(fd, _render(holder), 0)
        return cls(fd, files, holder)

    @property
    def lock_file(self) -> Path:
        return self._files.lock

    @property
    def guard_file(self) -> Path:
        """Where the guard writes what it did."""
        return self._files.guard

    def mark_unclean(self) -> None:
        """Say that actuators may be elsewhere than safe; before the first command."""
        self._files.guard.unlink(missing_ok=True)
        _write_synced(self._files.unclean, _render(self.holder))

    def mark_clean(self) -> None:
        """Say that every actuator is confirmed safe."""
        self._files.unclean.unlink(missing_ok=True)
        self._files.guard.unlink(missing_ok=True)

    def release(self) -> None:
        if self._fd >= 0:
            os.ftruncate(self._fd, 0)
            os.close(self._fd)
            self._fd = -1

    def __enter__(self) -> "RackLock":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release()


def needs_repair(rack: str) -> Repair | None:
    """Return who left the rack without proof that it is safe; None where the last end was clean."""
    files = _Files(rack)
    if not files.unclean.exists():
        return None
    unknown = Holder(run="unknown", pid=0, host="unknown", since="an unknown time")
    return Repair(holder=_read_holder(files.unclean) or unknown, guard=_guard_words(files.guard))


def runtime_folder() -> Path:
    """Return the user's own folder for locks, made when missing.

    Raises BenchError when somebody else could write there.
    """
    given = os.environ.get("XDG_RUNTIME_DIR", "")
    if given and os.path.isdir(given) and os.access(given, os.W_OK):
        folder = Path(given) / "rackproof"
    else:
        folder = Path(tempfile.gettempdir()) / f"rackproof-{os.getuid()}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        seen = folder.lstat()
    except OSError as error:
        raise BenchError(f"the folder for locks cannot be used: {error}") from error
    ours = stat.S_ISDIR(seen.st_mode) and seen.st_uid == os.getuid()
    if not ours or seen.st_mode & 0o077:
        raise BenchError(f"{folder} must be a folder of your own that nobody else can open")
    return folder


class _Files:
    """The three files of a rack."""

    def __init__(self, rack: str) -> None:
        folder = runtime_folder()
        word = re.sub(r"[^A-Za-z0-9-]+", "-", rack)[:40]
        stem = f"{word}-{hashlib.sha256(rack.encode()).hexdigest()[:12]}"
        self.lock = folder / f"{stem}.lock"
        self.unclean = folder / f"{stem}.unclean"
        self.guard = folder / f"{stem}.guard"


def _render(holder: Holder) -> bytes:
    shown = {name: getattr(holder, name) for name in Holder.__slots__}
    return json.dumps(shown).encode() + b"\n"


def _read_holder(file: Path) -> Holder | None:
    try:
        shown = json.loads(file.read_bytes())
        return Holder(
            run=str(shown["run"]),
            pid=int(shown["pid"]),
            host=str(shown["host"]),
            since=str(shown["since"]),
            guard=bool(shown["guard"]),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _guard_words(file: Path) -> str:
    try:
        shown = json.loads(file.read_bytes())
        sent, answered = int(shown["sent"]), int(shown["answered"])
    except (OSError, ValueError, KeyError, TypeError):
        return "no guard has sent the safe commands"
    return f"its guard sent {sent} safe commands, {answered} were answered"


def _write_synced(file: Path, octets: bytes) -> None:
    try:
        with open(file, "wb") as stream:
            stream.write(octets)
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as error:
        raise BenchError(f"the mark of an unclean end cannot be written: {error}") from error


def _utc_now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
