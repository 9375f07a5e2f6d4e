"""A pseudo-terminal that stands in for a software node's serial line.

The node holds the master; whoever opens the slave is at the other end of the line.  While nobody
has it open, what the node says is lost, as on a real line, and looking every now and then whether
somebody has is all that can be done: a closed pseudo-terminal is always ready to say that it is.
"""

import contextlib
import errno
import os
import re
import select
import socket
import tty
from pathlib import Path

from hil.bench.line import SerialLine
from hil.bench.mark import Mark
from hil.core.error import BenchError
from hil.core.instant import MILLISECOND, Duration
from hil.wire.rack import Address, Rack, far_end

LOOK_EVERY = Duration(5 * MILLISECOND)
"""How often it is asked whether somebody has opened it."""


class Published:
    """It is known which pseudo-terminal stands in for a line, until `close`.

    A link says it; a socket, whose name the kernel knows as long as this process lives, says that
    the link is true: the pseudo-terminal of a process that was killed may be anybody's by now.
    Raises BenchError.
    """

    def __init__(self, address: Address, path: str) -> None:
        self._link = _link(address)
        self._alive = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        try:
            self._alive.bind(_alive_name(address))
            self._link.unlink(missing_ok=True)
            self._link.symlink_to(path)
        except OSError as error:
            self._alive.close()
            what = "somebody serves it already" if error.errno == errno.EADDRINUSE else str(error)
            raise BenchError(f"the console {address} cannot be served: {what}") from error

    def close(self) -> None:
        """Nothing stands in for the line any more."""
        with contextlib.suppress(OSError):
            self._link.unlink(missing_ok=True)
        self._alive.close()


def published(rack: Rack) -> dict[str, str]:
    """Return the pseudo-terminals that stand in for consoles of a rack now, by their nodes."""
    consoles = [
        (node.name, node.console.address) for node in rack.nodes if node.console is not None
    ]
    found = {name: _published(address) for name, address in consoles}
    return {name: path for name, path in found.items() if path}


def _published(address: Address) -> str:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as asked:
        try:
            asked.bind(_alive_name(address))
        except OSError:
            with contextlib.suppress(OSError):
                path = os.readlink(_link(address))
                return path if re.fullmatch(r"/dev/pts/[0-9]+", path) else ""
    return ""


def _alive_name(address: Address) -> str:
    return f"\0rackproof line {Mark(address).name}"


def _link(address: Address) -> Path:
    return Mark(address).holder_file.with_suffix(".line")


class TerminalLine(SerialLine):
    """The node's end of a line; `path` is what the other end opens, `is_open` whether it has."""

    __slots__ = ("address", "is_open", "path")

    def __init__(self, name: str, address: Address) -> None:
        master, slave = os.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        os.close(slave)  # so that the master can tell whether anybody has it open
        os.set_blocking(master, False)
        super().__init__(name, far_end(address), master)
        self.address = address
        self.is_open = False

    def look(self) -> bool:
        """Return whether somebody has opened it since."""
        poll = select.poll()
        poll.register(self.fd, 0)
        closed = any(event & select.POLLHUP for _, event in poll.poll(0))
        was, self.is_open = self.is_open, not closed
        if self.is_open and not was:
            self.gone = ""
        return self.is_open and not was

    def write(self, octets: bytes) -> str:
        """Write; what nobody takes is lost."""
        if not self.is_open:
            return ""
        trouble = super().write(octets)
        if self.gone:
            self.is_open = False
        return trouble
