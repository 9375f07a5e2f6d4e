"""`hil` at a pseudo-terminal that the test types into, as a person would."""

import contextlib
import os
import pty
import select
import signal
import subprocess
import termios
import time
from pathlib import Path

PATIENCE = 20.0


class Terminal:
    """A process whose controlling terminal is ours; `seen` is everything it has shown."""

    def __init__(self, command: list[str], folder: Path, *, term: str = "xterm") -> None:
        self._master, self._slave = pty.openpty()
        termios.tcsetwinsize(self._slave, (50, 160))
        self.before = termios.tcgetattr(self._slave)
        self.seen = ""
        self._found = 0
        environment = os.environ | {"PYTHONWARNINGS": "error", "TERM": term}
        self.process = subprocess.Popen(
            command,
            cwd=folder,
            env=environment,
            stdin=self._slave,
            stdout=self._slave,
            stderr=self._slave,
            close_fds=True,
            preexec_fn=lambda: os.login_tty(os.dup(0)),
        )

    def type(self, text: str) -> None:
        """Press keys."""
        os.write(self._master, text.encode())

    def wait_for(self, text: str) -> str:
        """Read until the text is shown, after what was waited for before; return what came."""
        begun, start = time.monotonic(), self._found
        while text not in self.seen[start:]:
            left = begun + PATIENCE - time.monotonic()
            assert left > 0, f"{text!r} is not shown, but: {self.seen[start:]}"
            assert self._read(left), f"{text!r} is not shown before the end: {self.seen[start:]}"
        self._found = self.seen.index(text, start) + len(text)  # what is behind it may be awaited
        return self.seen[start:]

    def settings(self) -> list[object]:
        """Return the terminal's settings as they are now."""
        return list(termios.tcgetattr(self._slave))

    def hang_up(self) -> None:
        """Close the terminal, as pulling its plug does."""
        os.close(self._slave)
        os.close(self._master)
        self._master = self._slave = -1

    def finish(self) -> int:
        """Read to the end and return the exit code."""
        begun = time.monotonic()
        while self.process.poll() is None:
            assert time.monotonic() - begun < PATIENCE, f"it does not end: {self.seen}"
            if self._master >= 0:
                self._read(0.05)
            else:
                with contextlib.suppress(subprocess.TimeoutExpired):
                    self.process.wait(0.05)
        while self._master >= 0 and self._read(0):
            pass
        return self.process.returncode

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        for fd in (self._master, self._slave):
            if fd >= 0:
                os.close(fd)

    def _read(self, seconds: float) -> bool:
        if not select.select([self._master], [], [], seconds)[0]:
            return False
        try:
            self.seen += os.read(self._master, 65_536).decode(errors="replace")
        except OSError:  # all have closed the other side
            return False
        return True
