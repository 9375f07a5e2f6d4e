"""The person at the terminal: questions are shown, answers read, and nothing ever waits for it.

The terminal is opened anew, so that setting it non-blocking touches nobody else's, and is put into
single-key mode only while a question is open; it is put back when the question is over, when the
bench is closed, and so whatever ends a run short of SIGKILL (`stty sane` helps then).  Ctrl-C stays
Ctrl-C.  What was typed before the question does not count.

        please: cover the light sensor
          y = done, n = could not, t = can't tell, then Enter (27 s): y
"""

import contextlib
import os
import signal
import termios
from collections.abc import Iterator

from hil.bench.answer_line import AnswerLine
from hil.bench.aside import Watch
from hil.bench.bench import Arrival
from hil.core.errand import Prompt, Replied, Unmanned, Withdrawn
from hil.core.error import BenchError
from hil.core.instant import SECOND, Duration, Instant

GONE = "the terminal is gone"

_EVERY = Duration(SECOND)
_KEYS = 4096
_NARROWEST, _USUAL = 20, 80
_LOCAL, _CONTROL = 3, 6  # their places in what tcgetattr returns
_HELP = {
    True: "y = done, n = could not, t = can't tell, then Enter",
    False: "y = yes, n = no, t = can't tell, then Enter",
}
_OF_ACT = {"yes": "done", "no": "not done"}
_ENDS = {"nothing": "nobody answered", "seen": "it is seen to be done"}


class Keyboard:
    """A terminal with a person before it.  Raises BenchError when it cannot be opened."""

    def __init__(self, name: str) -> None:
        try:
            self.fd = os.open(name, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK | os.O_CLOEXEC)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise BenchError(f"the terminal {name} cannot be opened: {reason}") from error
        self._prompt: Prompt | None = None
        self._line = AnswerLine()
        self._before: list[object] | None = None
        self._drawn: Instant | None = None
        self._gone = self._told = False
        self._watched = False
        self._watch: Watch = lambda fd: None
        self._forget: Watch = lambda fd: None

    def attach(self, watch: Watch, forget: Watch) -> None:
        self._watch, self._forget = watch, forget

    # --- questions -----------------------------------------------------------------------------

    def ask(self, prompt: Prompt) -> None:
        """Show a question when the bench waits next, and take answers until it is withdrawn."""
        self._prompt, self._line, self._drawn = prompt, AnswerLine(), None
        self._told = False

    def withdraw(self, withdrawn: Withdrawn) -> None:
        """The question is over: say how, and give the terminal back."""
        if self._prompt is None or withdrawn.token != self._prompt.token:
            return
        shown, act, self._prompt = self._drawn is not None, self._prompt.act, None
        if shown and act and withdrawn.outcome in _OF_ACT:
            self._write(f"  {_OF_ACT[withdrawn.outcome]}", end=True)
        elif shown:
            self._write(f"  {_ENDS.get(withdrawn.outcome, withdrawn.outcome)}", end=True)
        self._restore()

    def close(self) -> None:
        """Give the terminal back as it was."""
        if self.fd < 0:
            return
        self._prompt = None
        self._restore()
        os.close(self.fd)
        self.fd = -1

    # --- the bench's turn ----------------------------------------------------------------------

    def due(self, now: Instant) -> Instant | None:
        """Show the question, and once a second how much time is left for it."""
        if self._prompt is None:
            return None
        if self._gone:
            return None if self._told else now
        if self._drawn is None:
            self._begin(self._prompt)
        if self._drawn is None or now - self._drawn >= _EVERY:
            self._listen()
            self._draw(self._prompt, now)
        assert self._drawn is not None
        return Instant(self._drawn + _EVERY)

    def collect(self, horizon: Instant) -> list[Arrival]:
        """Read what was typed; an answer is from the moment at which it was confirmed."""
        if self._prompt is None:
            return []
        reply = self._line.press(self._read()) if self._watched else None
        if self._gone:
            if self._told:
                return []
            self._told = True
            return [Arrival(Unmanned(at=horizon, text=GONE), horizon)]
        if reply is not None:
            answer = Replied(token=self._prompt.token, at=horizon, reply=reply)
            return [Arrival(answer, horizon)]
        return []

    # --- the terminal --------------------------------------------------------------------------

    def _begin(self, prompt: Prompt) -> None:
        """Take the terminal, forget what was typed before, and put the question."""
        with contextlib.suppress(termios.error), _background():
            before = termios.tcgetattr(self.fd)
            keys = [*before[:_CONTROL], list(before[_CONTROL])]
            keys[_LOCAL] &= ~(termios.ICANON | termios.ECHO)
            keys[_CONTROL][termios.VMIN], keys[_CONTROL][termios.VTIME] = 1, 0
            termios.tcsetattr(self.fd, termios.TCSAFLUSH, keys)
            self._before = before
        what = "please" if prompt.act else "question"
        self._write(f"{what}: {prompt.text}", end=True, bell="\a")

    def _restore(self) -> None:
        if self._watched:
            self._forget(self.fd)
            self._watched = False
        if self._before is not None:
            before, self._before = self._before, None
            with contextlib.suppress(termios.error), _background():
                termios.tcsetattr(self.fd, termios.TCSADRAIN, before)  # type: ignore[arg-type]

    def _listen(self) -> None:
        """Have the bench wake for keys, but only while the terminal is ours to read."""
        ours = True
        with contextlib.suppress(OSError):  # not the terminal that controls us: nobody else reads
            ours = os.tcgetpgrp(self.fd) == os.getpgrp()
        if ours and not self._watched:
            self._watch(self.fd)
        elif not ours and self._watched:
            self._forget(self.fd)
        self._watched = ours

    def _read(self) -> bytes:
        self._listen()
        if not self._watched:
            return b""
        try:
            keys = os.read(self.fd, _KEYS)
        except BlockingIOError:
            return b""
        except OSError:
            keys = b""
        if not keys:
            self._lose()
        elif self._prompt is not None and self._drawn is not None:
            self._drawn = Instant(self._drawn - _EVERY)  # draw at once what was typed
        return keys

    def _lose(self) -> None:
        self._gone = True
        if self._watched:
            self._forget(self.fd)
            self._watched = False

    def _draw(self, prompt: Prompt, now: Instant) -> None:
        self._drawn = now
        if self._line.odd:
            self._write(f"  `{self._line.odd}` is no answer", end=True)
            self._line.odd = ""
        left = -(-max(0, prompt.until - now) // SECOND)
        self._write(f"  {_HELP[prompt.act]} ({left} s): {self._line.text}")

    def _write(self, line: str, *, end: bool = False, bell: str = "") -> None:
        """Write a line over the one that is there, and `end` it: then nothing is cut off.

        What the terminal cannot take at once is lost.
        """
        try:
            columns = os.get_terminal_size(self.fd).columns
        except OSError:
            columns = 0
        width = max(columns or _USUAL, _NARROWEST) - 1
        shown = line + "\n" if end else line[-width:]  # at its end stands what is being typed
        with contextlib.suppress(OSError):
            os.write(self.fd, ("\r" + " " * width + "\r" + bell + shown).encode())


@contextlib.contextmanager
def _background() -> Iterator[None]:
    """Let the terminal be set from the background too, instead of being stopped for it."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTTOU})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
