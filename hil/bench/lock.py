"""One run per node: a lock that dies with its holder.

The lock of a rack is one lock for each of its nodes' addresses: two bench files with an address
in common are the same rack to that extent, whatever their titles are.

Each is an abstract UNIX socket (unix(7)) with a name made of the address.  The kernel knows the
name as long as its holder lives, however that ends, for all users and whatever folders and
environment a process has; and it knows it per network namespace, as it does the address itself.
Who holds it stands in a file beside (hil.bench.mark), for people only.
"""

import contextlib
import errno
import os
import socket
from collections.abc import Collection, Iterable
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

from tenacity import Retrying, retry_if_exception_type, stop_after_attempt, wait_fixed

from hil.bench.mark import FOLDER, Holder, Mark, write_down
from hil.core.error import BenchError, BusyError
from hil.wire.rack import Address

GUARD_ATTEMPTS = 60  # a guard needs at most about 3 s; a run waits that long for it
GUARD_PAUSE = 0.1


class _GuardAtWork(BusyError):
    """The guard of a run that died is making the rack safe; it will soon be done."""


class RackLock:
    """Holds all addresses of a rack for one run; made by `acquire`."""

    def __init__(self, sockets: list[socket.socket], marks: list[Mark], holder: Holder) -> None:
        self._sockets = sockets
        self._left: set[str] = set()
        self.marks = marks
        self.holder = holder

    @classmethod
    def acquire(
        cls,
        rack: str,
        addresses: Iterable[Address],
        run: str,
        *,
        folder: Path = FOLDER,
        attempts: int = GUARD_ATTEMPTS,
    ) -> "RackLock":
        """Take all addresses of a rack or none; waits only for a guard at work, and for one without words.

        Raises BusyError naming the holder, and BenchError when it cannot be written down.
        """
        named = {mark.name: mark for mark in (Mark(address, folder) for address in addresses)}
        marks = [mark for _, mark in sorted(named.items())]
        waiting = Retrying(
            retry=retry_if_exception_type(_GuardAtWork),
            stop=stop_after_attempt(attempts),
            wait=wait_fixed(GUARD_PAUSE),
            reraise=True,
        )
        return waiting(cls._take, rack, run, marks)

    @classmethod
    def _take(cls, rack: str, run: str, marks: list[Mark]) -> "RackLock":
        """Take one address after the other, always in the same order: of two runs one gets all."""
        holder = Holder(run=run, pid=os.getpid(), host=socket.gethostname(), since=_utc_now())
        taken: list[socket.socket] = []
        try:
            for mark in marks:
                taken.append(_bind(rack, mark))
            for mark in marks:
                write_down(mark.holder_file, holder.render())
        except BenchError:
            for held in taken:
                held.close()
            raise
        return cls(taken, marks, holder)

    def mark_unclean(self) -> None:
        """Say that actuators may be elsewhere than safe; before the first command."""
        self._left = {mark.name for mark in self.marks if mark.repair() is not None}
        for mark in self.marks:
            write_down(mark.guard_file, b"")
        for mark in self.marks:
            write_down(mark.unclean_file, self.holder.render(), sync=True)

    def mark_clean(self, unseen: Collection[Address] = ()) -> None:
        """Say that every actuator is confirmed safe.

        Nodes that were left unsafe by an earlier run and are `unseen` in this one stay marked.
        """
        for mark in self.marks:
            if mark.name not in self._left or mark.address not in unseen:
                mark.clear()

    def release(self) -> None:
        """Give all addresses back."""
        if self._sockets:
            with contextlib.suppress(BenchError):  # words of nobody do no harm
                for mark in self.marks:
                    write_down(mark.holder_file, b"")
        while self._sockets:
            self._sockets.pop().close()

    def __enter__(self) -> "RackLock":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release()


def socket_name(mark: Mark) -> str:
    """Return the abstract name that stands for an address; the guard takes it over by this."""
    return f"\0rackproof {mark.name}"


def _bind(rack: str, mark: Mark) -> socket.socket:
    made = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    try:
        made.bind(socket_name(mark))
    except OSError as error:
        made.close()
        if error.errno != errno.EADDRINUSE:
            raise BenchError(f"the lock of {mark.name} cannot be had: {error}") from error
        holder = mark.holder()
        # Without words its holder is just coming or going, as a guard is that has done its work.
        kind = _GuardAtWork if holder is None or holder.guard else BusyError
        who = f"{holder}," if holder is not None else "another run"
        what = f"rack {rack} is busy: {who} holds {mark.name}; it has one run at a time"
        raise kind(what) from error
    return made


def _utc_now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
