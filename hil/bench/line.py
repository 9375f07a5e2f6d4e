"""One serial line, read and written without ever waiting.

Opened once for the whole run: every opening may restart the node.  The tool reads the file itself;
pyserial only sets the line up (rate, frame, control lines, exclusive use).

A control line that is to stay low is asked for before the port is opened, but Linux raises DTR and
RTS in opening it, before anybody can say otherwise; so a board that is wired to restart will, and
the bench file says `opening-resets`.  Closing leaves the lines as they are (HUPCL is taken away),
so that the end of a run restarts nothing.
"""

import contextlib
import errno
import fcntl
import os
import termios
from typing import Any

from hil.core.error import BenchError
from hil.wire.console.description import Console
from hil.wire.console.description import Line as Settings
from hil.wire.rack import Address

AT_ONCE = 65_536
MOST_WAITING = 4_096
"""Octets that may wait to be written; a console that takes nothing for so long is no use."""

_CONTROL, _CHARACTERS = 2, 6  # places in what termios.tcgetattr returns


class SerialLine:
    """An open line; `peer` is whom it leads to, `name` the node's.

    `gone` says why it is no longer there, empty while it is.
    """

    __slots__ = ("_backlog", "_port", "fd", "gone", "name", "peer")

    def __init__(self, name: str, peer: Address, fd: int, port: object = None) -> None:
        self.name, self.peer, self.fd = name, peer, fd
        self.gone = ""
        self._port = port  # keeps the file open and locked
        self._backlog = bytearray()

    @property
    def waiting(self) -> bool:
        """Whether something waits to be written."""
        return bool(self._backlog)

    def read(self) -> bytes:
        """Return what is there, all of it; nothing where there is nothing, or `gone`."""
        found = b""
        try:
            while octets := os.read(self.fd, AT_ONCE):
                found += octets
                if len(found) >= AT_ONCE or not self._more():
                    return found
        except BlockingIOError:
            return found
        except OSError as error:
            self._lose(error.strerror or str(error))
            return found
        if not found:
            self._lose("end of file")
        return found

    def _more(self) -> bool:
        """Ask whether there is more to read, so that one read suffices where there is not."""
        count = bytearray(4)
        try:
            fcntl.ioctl(self.fd, termios.FIONREAD, count)
        except OSError:
            return True  # reading will tell
        return any(count)

    def write(self, octets: bytes) -> str:
        """Write, or queue what the line does not take yet; return why it cannot be, or nothing."""
        if self.gone:
            return self.gone
        if len(self._backlog) + len(octets) > MOST_WAITING:
            return (
                f"{self.peer} takes nothing: {len(self._backlog)} octets are waiting to be written"
            )
        self._backlog += octets
        self.flush()
        return self.gone

    def flush(self) -> None:
        """Write what is waiting, as far as the line takes it."""
        try:
            while self._backlog:
                del self._backlog[: os.write(self.fd, self._backlog)]
        except BlockingIOError:
            pass
        except OSError as error:
            self._lose(error.strerror or str(error))

    def close(self) -> None:
        """Give the line back."""
        if self._port is not None:
            with contextlib.suppress(OSError):
                self._port.close()  # type: ignore[attr-defined]
            self._port = None
        elif self.fd >= 0:
            os.close(self.fd)
        self.fd = -1

    def _lose(self, why: str) -> None:
        self._backlog.clear()
        self.gone = (
            f"the console of {self.name} is gone, was it unplugged? {self.peer}: {why.lower()}; "
            "it is not opened again in this run, because that may restart the node"
        )


def open_line(name: str, console: Console, device: str) -> SerialLine:
    """Open the console of a node at a device.  Raises BenchError with a sentence and a hint."""
    import serial

    port = serial.Serial()
    port.port, port.exclusive = device, True
    port.timeout = port.write_timeout = 0
    _set(port, console.line)
    try:
        port.open()
        fd = port.fileno()
        os.set_blocking(fd, False)
        _set_modes(fd)
    except (OSError, ValueError, termios.error) as error:  # a SerialException is an OSError
        with contextlib.suppress(OSError):
            port.close()
        raise BenchError(_cannot(name, device, error, console.line)) from error
    return SerialLine(name, console.address, fd, port)


def _set(port: Any, line: Settings) -> None:
    """Say how the line is to be, before it is opened."""
    port.baudrate = line.rate
    port.bytesize, port.parity = int(line.frame[0]), line.frame[1]
    port.stopbits = float(line.frame[2:])
    if line.dtr is not None:
        port.dtr = line.dtr
    if line.rts is not None:
        port.rts = line.rts


def _set_modes(fd: int) -> None:
    """Leave the control lines alone at closing, and tell "nothing there" from "nobody there".

    With VMIN 0, as pyserial has it, reading nothing looks like the end of the line.
    """
    modes = termios.tcgetattr(fd)
    modes[_CONTROL] &= ~termios.HUPCL
    modes[_CHARACTERS][termios.VMIN] = 1
    termios.tcsetattr(fd, termios.TCSANOW, modes)


def _cannot(name: str, device: str, error: Exception, line: Settings) -> str:
    """Say why a console cannot be opened, and what to try."""
    number = getattr(error, "errno", None)
    what = f"the console of {name} cannot be opened"
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV):
        hint = "is it plugged in? `ls -l /dev/serial/by-id/` shows what there is"
        return f"{what}: there is no {device}\n    try: {hint}"
    if number in (errno.EACCES, errno.EPERM):
        group = _group_of(device)
        hint = f"sudo usermod -aG {group} $USER, and log in again"
        return f"{what}: no permission for {device}\n    try: {hint}"
    if number in (errno.EBUSY, errno.EAGAIN) or "exclusively lock" in str(error):
        hint = f"fuser -v {device} names the program that has it"
        return f"{what}: {device} is in use by another program\n    try: {hint}"
    if number == errno.ENOTTY or "configure port" in str(error):
        return f"{what}: {device} is no serial port, or it cannot do {line.rate} bit/s {line.frame}"
    return f"{what}: {device}: {str(getattr(error, 'strerror', None) or error).lower()}"


def _group_of(device: str) -> str:
    import grp

    try:
        return grp.getgrgid(os.stat(device).st_gid).gr_name
    except (OSError, KeyError):
        return "dialout"
