"""Keys of whoever looks at a live table, read without waiting.

The terminal is put into single-key mode, with Ctrl-C as it was and without Ctrl-Z, which would
leave the table standing on the second page; it is put back at the end.  Where standard input is no
terminal, or this is not its foreground job, there are no keys.
"""

import contextlib
import os
import select
import sys
import termios
from collections.abc import Iterator

_LOCAL, _CONTROL = 3, 6  # their places in what tcgetattr returns
_ENOUGH = 256
_DISABLED = b"\0"  # _POSIX_VDISABLE of Linux

# ECMA-48 8.3 cursor keys, and the editing keys of the VT220; vi's letters beside them.
_NAMES = {
    b"\x1b[A": "up",
    b"\x1bOA": "up",
    b"k": "up",
    b"\x1b[B": "down",
    b"\x1bOB": "down",
    b"j": "down",
    b"\x1b[5~": "page up",
    b"b": "page up",
    b"\x1b[6~": "page down",
    b" ": "page down",
    b"\x1b[H": "home",
    b"\x1b[1~": "home",
    b"g": "home",
    b"\x1b[F": "end",
    b"\x1b[4~": "end",
    b"G": "end",
    b"q": "quit",
}
_LONGEST = max(len(octets) for octets in _NAMES)


class Keys:
    """What was pressed since the last time."""

    def __init__(self, fd: int | None) -> None:
        self._fd = fd

    def pressed(self) -> list[str]:
        """Return the keys by name; what is no key of ours is passed over."""
        if self._fd is None or not select.select([self._fd], [], [], 0)[0]:
            return []
        try:
            octets = os.read(self._fd, _ENOUGH)
        except OSError:
            octets = b""
        if not octets:
            self._fd = None  # the terminal is gone
        return list(named(octets))


def named(octets: bytes) -> Iterator[str]:
    """Yield the names of the keys in what a terminal sent."""
    at = 0
    while at < len(octets):
        for size in range(_LONGEST, 0, -1):
            name = _NAMES.get(octets[at : at + size])
            if name is not None:
                yield name
                break
        else:
            size = 1
        at += size


@contextlib.contextmanager
def open_keys() -> Iterator[Keys]:
    """Lend the keys of standard input."""
    try:
        fd = sys.stdin.fileno()
        ours = os.isatty(fd) and os.tcgetpgrp(fd) == os.getpgrp()
        before = termios.tcgetattr(fd) if ours else None
    except (OSError, ValueError, AttributeError, termios.error):
        before = None
    if before is None:
        yield Keys(None)
        return
    single = [*before[:_CONTROL], list(before[_CONTROL])]
    single[_LOCAL] &= ~(termios.ICANON | termios.ECHO)
    single[_CONTROL][termios.VMIN], single[_CONTROL][termios.VTIME] = 1, 0
    single[_CONTROL][termios.VSUSP] = _DISABLED
    termios.tcsetattr(fd, termios.TCSADRAIN, single)
    try:
        yield Keys(fd)
    finally:
        with contextlib.suppress(termios.error):
            termios.tcsetattr(fd, termios.TCSADRAIN, before)
