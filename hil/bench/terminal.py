"""A pseudo-terminal that stands in for a software node's serial line.

The node holds the master; whoever opens the slave is at the other end of the line.  While nobody
has it open, what the node says is lost, as on a real line, and looking every now and then whether
somebody has is all that can be done: a closed pseudo-terminal is always ready to say that it is.
"""

import os
import re
import select
import tty
from pathlib import Path

from hil.bench.line import SerialLine
from hil.bench.mark import Mark
from hil.core.error import BenchError
from hil.core.instant import MILLISECOND, Duration
from hil.wire.rack import Address, far_end

LOOK_EVERY = Duration(5 * MILLISECOND)
"""How often it is asked whether somebody has opened it."""


def publish(address: Address, path: str) -> Path:
    """Make known which pseudo-terminal stands in for a line; return the link that says so.

    Raises BenchError.
    """
    link = _link(address)
    try:
        link.unlink(missing_ok=True)
        link.symlink_to(path)
    except OSError as error:
        raise BenchError(f"{link} cannot be made: {error.strerror or error}") from error
    return link


def published(address: Address) -> str:
    """Return the pseudo-terminal that stands in for a line; empty where none does."""
    try:
        path = os.readlink(_link(address))
    except OSError:
        return ""
    return path if re.fullmatch(r"/dev/pts/[0-9]+", path) else ""


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
