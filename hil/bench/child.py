"""A process of ours that outlives a Ctrl-C, and ends when its pipe does.

It gets a session of its own, so that the terminal's signals do not reach it; what it is to do
comes down a pipe, and the pipe's end tells it that the runner is gone.  It answers with one line:
`ready`, with more where there is more to say, or a sentence why not; one that begins with `taken: `
says who has an address it needs.
"""

import os
import select
import subprocess
import tempfile
from collections.abc import Sequence
from typing import IO

from hil.core.error import BenchError

END_SECONDS = 5.0

READY = "ready"
TAKEN = "taken: "


class TakenError(BenchError):
    """An address that a process of ours needs belongs to another one."""


class Child:
    """A started process; `tell` speaks to it, `end` lets it go and waits for it.

    `answer` is what it said behind `ready`; `files` are open files that it has as well.
    Raises BenchError when it does not become ready; what it said is in the message.  Where that
    begins with `taken: `, the error is a TakenError.
    """

    def __init__(
        self,
        what: str,
        command: Sequence[str],
        orders: bytes,
        *,
        seconds: float,
        files: Sequence[int] = (),
    ) -> None:
        self._what = what
        with tempfile.TemporaryFile() as complaints:
            try:
                self._process = subprocess.Popen(
                    command,
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=complaints,
                    bufsize=0,
                    start_new_session=True,
                    pass_fds=files,
                )
            except OSError as error:
                raise BenchError(f"{what} could not be started: {error}") from error
            self.pid = self._process.pid
            self.tell(orders)
            answer = self._first_line(seconds)
            word, _, self.answer = answer.partition(" ")
            if word != READY:
                self.end(seconds=0)
                why = answer.removeprefix(TAKEN) or _last_line(complaints)
                kind = TakenError if answer.startswith(TAKEN) else BenchError
                raise kind(f"{what} did not start: {why}")

    @property
    def alive(self) -> bool:
        return self._process.poll() is None

    def tell(self, orders: bytes) -> None:
        """Write to its pipe; a child that is gone is found out when it is asked for an answer."""
        pipe = self._process.stdin
        rest = memoryview(orders)
        try:
            while pipe is not None and not pipe.closed and rest:
                rest = rest[pipe.write(rest) or 0 :]
        except BrokenPipeError:
            pass

    @property
    def answers(self) -> int:
        """The file that its further answers come from."""
        assert self._process.stdout is not None
        return self._process.stdout.fileno()

    def leave(self, seconds: float) -> bool:
        """Close its pipe and wait so long; return whether it ended.  It is not killed."""
        self.hang_up()
        try:
            self._process.wait(seconds)
        except subprocess.TimeoutExpired:
            return False
        finally:
            if self._process.stdout is not None:
                self._process.stdout.close()
        return True

    def hang_up(self) -> None:
        """Close its pipe, as the end of the runner does, and do not wait."""
        if self._process.stdin is not None:
            self._process.stdin.close()

    def end(self, *, seconds: float = END_SECONDS) -> int:
        """Close its pipe and wait; after `seconds` kill it.  Returns its exit code."""
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                pipe.close()
        try:
            return self._process.wait(seconds)
        except subprocess.TimeoutExpired:
            self._process.kill()
            return self._process.wait()

    def _first_line(self, seconds: float) -> str:
        pipe = self._process.stdout
        assert pipe is not None
        line = b""
        while not line.endswith(b"\n"):
            if not select.select((pipe,), (), (), seconds)[0]:
                return f"no answer within {seconds:g} s"
            octets = os.read(pipe.fileno(), 4096)
            if not octets:
                return ""
            line += octets
        return line.decode(errors="replace").strip()


def _last_line(complaints: IO[bytes]) -> str:
    """Return the last thing it complained about."""
    complaints.seek(0)
    lines = complaints.read().decode(errors="replace").strip().splitlines()
    return lines[-1] if lines else "it ended without a word"
