"""What runs write down about a node's address: who holds it, who left it unsafe, what a guard did.

One folder for the whole computer, whoever runs and whatever the environment says; for each
address three small files:

    ADDRESS.holder    who holds it, for people; the lock itself is the kernel's (hil.bench.lock)
    ADDRESS.unclean   who may have left its actuators elsewhere than safe
    ADDRESS.guard     what a guard did about that (hil.bench.guard)

An empty file says nothing.  Files are emptied and never removed: the folder is as open as /tmp,
where only an owner may remove a file, and the run of any user must be able to clear the mark of
another.  The folder outlives a restart of the computer, because an actuator's place does too.
"""

import contextlib
import hashlib
import ipaddress
import json
import os
import re
import socket
import stat
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from hil.core.count import counted
from hil.core.error import BenchError
from hil.wire.rack import Address
from hil.wire.zone import bare, zone_of

FOLDER = Path("/var/tmp/rackproof")
"""Kept over a restart and open to all users (Filesystem Hierarchy Standard 3.0, 5.15)."""

_LARGEST = 65_536
_LONGEST_NAME = 80
_PLAIN = os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC  # no link, no pipe that would block
_OPEN_TO_ALL = 0o1777


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """Who holds, or left, an address; `since` is in UTC, for people."""

    run: str
    pid: int
    host: str
    since: str
    guard: bool = False

    def __str__(self) -> str:
        who = f"the guard of run {self.run}" if self.guard else f"run {self.run}"
        return f"{who}, process {self.pid} on {self.host}, since {self.since}"

    def render(self) -> bytes:
        """Return the text of a file that names this holder."""
        shown = {name: getattr(self, name) for name in Holder.__slots__}
        return json.dumps(shown).encode() + b"\n"


_UNKNOWN = Holder(run="unknown", pid=0, host="unknown", since="an unknown time")


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """An unclean end: who left a node so, and what the guard did about it, in words."""

    holder: Holder
    guard: str

    def __str__(self) -> str:
        return f"the last run did not leave the rack safe ({self.holder}); {self.guard}"


class Mark:
    """The three files of one address.  Raises BenchError where the folder cannot be used."""

    def __init__(self, address: Address, folder: Path = FOLDER) -> None:
        _open_folder(folder)
        self.address = address
        self.name = plain_name(address)
        word = re.sub(r"[^A-Za-z0-9.-]", "_", self.name)
        self.holder_file = folder / f"{word}.holder"
        self.unclean_file = folder / f"{word}.unclean"
        self.guard_file = folder / f"{word}.guard"

    def holder(self) -> Holder | None:
        """Return who says to hold it; only true while it is held."""
        return _read_holder(_read(self.holder_file))

    def repair(self) -> Repair | None:
        """Return who left it without proof that it is safe; None where the last end was clean."""
        text = _read(self.unclean_file)
        if not text:
            return None
        return Repair(holder=_read_holder(text) or _UNKNOWN, guard=_guard_words(self.guard_file))

    def clear(self) -> None:
        """Say that its actuators are confirmed safe."""
        write_down(self.unclean_file, b"")
        write_down(self.guard_file, b"")


def plain_name(address: Address) -> str:
    """Return the one name of an address, however it is written.

    >>> plain_name(Address("0:0:0:0:0:0:0:1", 7)), plain_name(Address("::ffff:127.0.0.1", 7))
    ('[::1]:7', '127.0.0.1:7')
    """
    if not address.port:
        return _line_name(address.host)
    try:
        parsed = ipaddress.ip_address(address.host)
    except ValueError:
        return str(address)
    mapped = parsed.ipv4_mapped if isinstance(parsed, ipaddress.IPv6Address) else None
    return str(Address(_zone_by_name(str(mapped or parsed)), address.port))


def _zone_by_name(host: str) -> str:
    """Write the zone of a link-local address as the name of its interface."""
    zone = zone_of(host)
    if zone.isdecimal():
        with contextlib.suppress(OSError, OverflowError):  # no such interface: it stays a number
            return f"{bare(host)}%{socket.if_indextoname(int(zone))}"
    return host


def _line_name(device: str) -> str:
    """Return a name for a serial line that fits into that of a socket, 108 octets on Linux."""
    if len(device) <= _LONGEST_NAME:
        return device
    return f"{device[-_LONGEST_NAME + 9 :]} {hashlib.sha256(device.encode()).hexdigest()[:8]}"


def needs_repair(addresses: Iterable[Address], folder: Path = FOLDER) -> Repair | None:
    """Return who was the last to leave one of the addresses without proof that it is safe."""
    found = [repair for address in addresses if (repair := Mark(address, folder).repair())]
    return max(found, key=lambda repair: repair.holder.since, default=None)


def write_down(file: Path, octets: bytes, *, sync: bool = False) -> None:
    """Replace what a file says, whoever it belongs to.  Raises BenchError.

    A file that is there is opened without O_CREAT: Linux may refuse that with it, in a folder
    like this, for a file of another user (sysctl fs.protected_regular).
    """
    try:
        fd = _open(file)
        try:
            os.pwrite(fd, octets, 0)
            os.ftruncate(fd, len(octets))  # afterwards: a mark is at no time empty by chance
            if sync:
                os.fsync(fd)
        finally:
            os.close(fd)
    except OSError as error:
        raise BenchError(f"{file} cannot be written: {error.strerror or error}") from error


def _open(file: Path) -> int:
    for _ in range(2):  # another run may make it in between
        with contextlib.suppress(FileNotFoundError):
            return os.open(file, os.O_WRONLY | _PLAIN)
        with contextlib.suppress(FileExistsError):
            fd = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _PLAIN, 0o666)
            os.fchmod(fd, 0o666)  # whatever the umask
            return fd
    return os.open(file, os.O_WRONLY | _PLAIN)


def _open_folder(folder: Path) -> None:
    try:
        if not os.path.lexists(folder):
            _make_folder(folder)
        seen = folder.lstat()
    except OSError as error:
        raise BenchError(f"the folder of the locks cannot be used: {error}") from error
    if not stat.S_ISDIR(seen.st_mode) or stat.S_IMODE(seen.st_mode) != _OPEN_TO_ALL:
        raise BenchError(
            f"{folder} must be a folder that is open to all users, as /tmp is\n"
            f"    try: chmod 1777 {folder}"
        )


def _make_folder(folder: Path) -> None:
    """Make it under another name first, so that nobody finds it half open."""
    made = Path(tempfile.mkdtemp(prefix=f"{folder.name}.", dir=folder.parent))
    made.chmod(_OPEN_TO_ALL)
    try:
        made.rename(folder)
    except OSError:
        made.rmdir()
        if not os.path.lexists(folder):  # else another run was faster
            raise


def _read(file: Path) -> bytes:
    try:
        fd = os.open(file, os.O_RDONLY | _PLAIN)
        try:
            return os.read(fd, _LARGEST)
        finally:
            os.close(fd)
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise BenchError(f"{file} cannot be read: {error.strerror or error}") from error


def _read_holder(text: bytes) -> Holder | None:
    try:
        shown = json.loads(text)
        return Holder(
            run=_visible(shown["run"]),
            pid=int(shown["pid"]),
            host=_visible(shown["host"]),
            since=_visible(shown["since"]),
            guard=bool(shown["guard"]),
        )
    except (ValueError, KeyError, TypeError, RecursionError):
        return None


def _visible(text: object) -> str:
    """Return a text that another user wrote, fit for a terminal."""
    return "".join(letter if letter.isprintable() else "?" for letter in str(text)[:200])


def _guard_words(file: Path) -> str:
    try:
        shown = json.loads(_read(file))
        sent, answered = int(shown["sent"]), int(shown["answered"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return "no guard has sent the safe commands"
    were = "was" if answered == 1 else "were"
    return f"its guard sent {counted(sent, 'safe command')}, {answered} {were} answered"
