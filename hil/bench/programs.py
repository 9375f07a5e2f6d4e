"""The runner's side of the supervisor (hil.bench.supervisor): commands to programs, ends to news.

Programs run in the folder of the bench file, with nothing of the environment but PATH, HOME and a
language, with no input, without a shell.  What is started is told as sent at that moment, what
ended with exit code 0 as answered, anything else as the bench's own failure.
"""

import json
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

from hil.bench import supervisor
from hil.bench.aside import Watch
from hil.bench.bench import Arrival
from hil.bench.child import Child
from hil.core.errand import ProgramEnded
from hil.core.instant import SECOND, Duration, Instant
from hil.core.observation import Command, CommandAnswered, CommandLost, CommandSent
from hil.wire.programs import Programs
from hil.wire.rack import Rack

START_SECONDS = 10.0
END_SECONDS = 5.0

GONE = "the process that runs the bench's programs is gone"

_CHUNK = 1 << 16


class Workshop:
    """All programs of a rack.  Raises BenchError when the supervisor cannot be started."""

    def __init__(self, rack: Rack, now: Callable[[], Instant]) -> None:
        self._programs: Mapping[str, Programs] = rack.programs
        self._now = now
        command = [sys.executable, "-I", "-S", str(Path(supervisor.__file__).resolve())]
        orders = json.dumps(_orders(rack)).encode() + b"\n"
        what = "the process for the bench's programs"
        self._child = Child(what, command, orders, seconds=START_SECONDS)
        self.pid = self._child.pid
        self._fd = self._child.answers
        os.set_blocking(self._fd, False)
        self._open: dict[int, Command] = {}
        self._news: list[Arrival] = []
        self._heard = b""
        self._gone = self._settled = False
        self._forget: Watch = lambda fd: None

    def __contains__(self, signal: object) -> bool:
        return signal in self._programs

    # --- what the run wishes -------------------------------------------------------------------

    def start(self, command: Command) -> None:
        """Run the program that drives a signal to a value."""
        at = self._now()
        programs = self._programs[command.signal]
        drive = programs.signal.drive
        assert drive is not None
        assert drive.program is not None
        if self._gone:
            self._lose(command, at, GONE)
            return
        leaves = "safe" if command.value == drive.safe else "astray"
        order = {
            "run": command.token,
            "signal": command.signal,
            "argv": programs.filled(command.value),
            "within": drive.program.within / SECOND,
            "leaves": "as-it-is" if drive.program.stays else leaves,
        }
        self._open[command.token] = command
        self._child.tell(json.dumps(order).encode() + b"\n")
        self._news.append(Arrival(CommandSent(token=command.token, at=at), at))

    def halt(self) -> None:
        """End every program that is still at work."""
        self._child.tell(b'{"halt": true}\n')

    # --- the bench's turn ----------------------------------------------------------------------

    def attach(self, watch: Watch, forget: Watch) -> None:
        self._forget = forget
        watch(self._fd)

    def due(self, now: Instant) -> Instant | None:
        """Ask to be woken at once where there is news already."""
        return now if self._news else None

    def collect(self, horizon: Instant) -> list[Arrival]:
        """Hand over what was started and what ended."""
        if not self._gone:
            self._read(horizon)
        news, self._news = self._news, []
        return news

    def settle(self, *, safe: bool) -> str:
        """End the supervisor; return what is still open where it has to make something safe."""
        if self._settled:
            return ""
        self._settled = True
        if safe:
            self._child.tell(b"clean\n")
        if self._child.leave(END_SECONDS) or safe:
            return ""
        return "a program that makes the rack safe is still at work"

    def _read(self, horizon: Instant) -> None:
        while True:
            try:
                octets = os.read(self._fd, _CHUNK)
            except BlockingIOError:
                return
            if not octets:
                break
            *lines, self._heard = (self._heard + octets).split(b"\n")
            for line in lines:
                self._end(json.loads(line), horizon)
        self._gone = True
        self._forget(self._fd)
        for command in list(self._open.values()):
            self._lose(command, horizon, GONE)

    def _end(self, told: dict[str, object], at: Instant) -> None:
        command = self._open.pop(int(str(told["run"])), None)
        if command is None:
            return
        code, how = told["code"], str(told["how"])
        ended = ProgramEnded(
            signal=command.signal,
            value=str(command.value),
            at=at,
            argv=self._programs[command.signal].declared(command.value),
            how=how,
            code=code if isinstance(code, int) else None,
            took=Duration(int(str(told["took"]))),
            size=int(str(told["size"])),
            head=str(told["head"]),
            tail=str(told["tail"]),
        )
        self._news.append(Arrival(ended, at))
        if code == 0:
            answer = CommandAnswered(token=command.token, at=at, accepted=True, detail=how)
            self._news.append(Arrival(answer, at))
            return
        self._lose(command, at, f"{_shown(ended)}: {how}{_last_words(ended)}")

    def _lose(self, command: Command, at: Instant, why: str) -> None:
        self._open.pop(command.token, None)
        lost = CommandLost(token=command.token, at=at, detail=why, broken=True)
        self._news.append(Arrival(lost, at))


def _shown(ended: ProgramEnded) -> str:
    return f"the program for {ended.signal} {ended.value} ({ended.argv[0]})"


def _last_words(ended: ProgramEnded) -> str:
    """Return the last line that a program printed, for a failure."""
    lines = (ended.tail or ended.head).strip().splitlines()
    last = "".join(letter if letter.isprintable() else "?" for letter in lines[-1]) if lines else ""
    return f", it said: {last[:200]}" if last.strip() else ""


def _orders(rack: Rack) -> dict[str, object]:
    """Return what the supervisor is told first; paths are from the folder of the bench file."""
    kept = {name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ}
    safe = {}
    for path, programs in rack.programs.items():
        drive = programs.signal.drive
        if drive is not None and drive.program is not None and not drive.program.stays:
            within = drive.program.within / SECOND
            safe[path] = {"argv": programs.filled(drive.safe), "within": within}
    return {
        "folder": str(Path(rack.file).resolve().parent),
        "environment": {**kept, "LANG": "C.UTF-8"},
        "safe": safe,
    }
