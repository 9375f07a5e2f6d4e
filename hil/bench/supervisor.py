"""The supervisor: runs the programs of a bench, so that the run itself never has to wait for one.

It is a process of its own, in a session of its own, deaf to Ctrl-C and to polite signals, and is
started by its path, as the guard is (hil.bench.programs does that).  It eats whatever a program
prints, holds it to its time, and ends it with its whole process group.

    stdin    one line of JSON first: {"folder", "environment", "safe": {signal: {"argv", "within"}}}
             then {"run", "signal", "argv", "within", "leaves"}   run this; `leaves` is safe, astray
                                                                 or as-it-is
                  {"halt"}                                       end everything that runs
                  the word `clean`                               everything is safe: end
             end of file without it: the runner is gone; end everything, make safe what is astray
    stdout   `ready`, then {"run", "how", "code", "took", "size", "head", "tail"} for each one's end

One program at a time for each signal: a later one ends the one before, and waits for its end.
"""

import contextlib
import json
import os
import select
import signal
import subprocess
import time
from typing import Any

KEPT = 2_000
CHUNK = 1 << 16
LAST_CHUNKS = 64
GRACE_SECONDS = 1.0
LOOK_SECONDS = 0.02
SAFE_ATTEMPTS = 3


class Work:
    """One program at work; `end` says how it ended once it has."""

    def __init__(self, order: dict[str, Any], folder: str, environment: dict[str, str]) -> None:
        self.order = order
        self.began = time.monotonic_ns()
        self.deadline = time.monotonic() + order["within"]
        self.killed = ""
        self.fatal = 0.0
        self.size, self.head, self.tail = 0, b"", b""
        self.process: subprocess.Popen[bytes] | None = None
        self.trouble = ""
        self.pidfd = -1
        try:
            self.process = subprocess.Popen(
                order["argv"],
                cwd=folder,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                bufsize=0,
            )
            assert self.process.stdout is not None
            os.set_blocking(self.process.stdout.fileno(), False)
            with contextlib.suppress(OSError):  # before Linux 5.3: it is looked for instead
                self.pidfd = os.pidfd_open(self.process.pid)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            self.trouble = f"could not be started: {reason.lower()}"

    @property
    def fd(self) -> int:
        """Where its output comes from; -1 where none comes any more."""
        if self.process is None or self.process.stdout is None or self.process.stdout.closed:
            return -1
        return self.process.stdout.fileno()

    def read(self) -> bool:
        """Take in some of what it prints; return whether there was any."""
        try:
            octets = os.read(self.fd, CHUNK)
        except BlockingIOError:
            return False
        except OSError:
            octets = b""
        if not octets:
            assert self.process is not None
            assert self.process.stdout is not None
            self.process.stdout.close()
            return False
        self.size += len(octets)
        self.head += octets[: KEPT - len(self.head)]
        self.tail = (self.tail + octets)[-KEPT:]
        return True

    def over(self) -> bool:
        """Say whether it has ended; it is not reaped yet, so that its group keeps its number."""
        if self.process is None:
            return True
        options = os.WEXITED | os.WNOHANG | os.WNOWAIT
        return os.waitid(os.P_PID, self.process.pid, options) is not None

    def watch(self, now: float) -> None:
        """Hold it to its time: first politely, then not."""
        if not self.killed and now >= self.deadline:
            self.kill(f"killed after {self.order['within']:g} s", now)
        if self.killed and now >= self.fatal:
            self._signal(signal.SIGKILL)

    def kill(self, why: str, now: float) -> None:
        """Ask it and all its group to end."""
        if not self.killed:
            self.killed, self.fatal = why, now + GRACE_SECONDS
            self._signal(signal.SIGTERM)

    def finish(self) -> dict[str, Any]:
        """Return what is told of its end."""
        code: int | None = None
        how = self.trouble
        if self.process is not None:
            if self.killed:
                self._signal(signal.SIGKILL)  # what is left of its group
            for _ in range(LAST_CHUNKS):  # others may hold the pipe, and print for ever
                if self.fd < 0 or not self.read():
                    break
            if self.fd >= 0 and self.process.stdout is not None:
                self.process.stdout.close()
            status = self.process.wait()
            if self.pidfd >= 0:
                os.close(self.pidfd)
            code = status if status >= 0 else None
            how = self.killed or (f"exit code {status}" if status >= 0 else _ended_by(-status))
        return {
            "run": self.order["run"],
            "how": how,
            "code": None if self.killed else code,
            "took": time.monotonic_ns() - self.began,
            "size": self.size,
            "head": self.head.decode(errors="replace"),
            "tail": self.tail[-max(0, self.size - KEPT) :].decode(errors="replace")
            if self.size > KEPT
            else "",
        }

    def _signal(self, number: int) -> None:
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self.process.pid, number)


class Supervisor:
    """All programs at work, and which signals are astray."""

    def __init__(self, orders: dict[str, Any]) -> None:
        self.orders = orders
        self.working: dict[str, Work] = {}
        self.waiting: dict[str, dict[str, Any]] = {}
        self.astray: set[str] = set()

    def take(self, order: dict[str, Any]) -> None:
        """Run a program, or end them all."""
        if "halt" in order:
            self.halt("ended, for the run is")
            return
        name = order["signal"]
        if order["leaves"] != "as-it-is":
            self.astray.add(name)
        before = self.working.get(name)
        if before is None:
            self.start(order)
            return
        passed_over = self.waiting.pop(name, None)
        if passed_over is not None:
            self.tell(passed_over["run"], "not started, for a later one came")
        self.waiting[name] = order
        before.kill("ended, for a later one came", time.monotonic())

    def start(self, order: dict[str, Any]) -> None:
        work = Work(order, self.orders["folder"], self.orders["environment"])
        self.working[order["signal"]] = work

    def halt(self, why: str) -> None:
        """End everything that runs, and forget what waits."""
        for order in self.waiting.values():
            self.tell(order["run"], "not started, for the run ended")
        self.waiting.clear()
        for work in self.working.values():
            work.kill(why, time.monotonic())

    def turn(self, extra: list[int]) -> bool:
        """Wait for a moment and look after everything; return whether an extra file has news."""
        busy = {work.fd: work for work in self.working.values() if work.fd >= 0}
        wait = LOOK_SECONDS if self.working else None
        ends = [work.pidfd for work in self.working.values() if work.pidfd >= 0]
        ready, _, _ = select.select([*extra, *busy, *ends], [], [], wait)
        for fd in ready:
            if fd in busy:
                busy[fd].read()
        now = time.monotonic()
        for name, work in list(self.working.items()):
            work.watch(now)
            if work.over():
                self.end(name, work)
        return any(fd in ready for fd in extra)

    def end(self, name: str, work: Work) -> None:
        del self.working[name]
        told = work.finish()
        if work.order["leaves"] == "safe" and told["code"] == 0:
            self.astray.discard(name)
        say(told)
        if name in self.waiting:
            self.start(self.waiting.pop(name))

    def tell(self, run: int, how: str) -> None:
        say({"run": run, "how": how, "code": None, "took": 0, "size": 0, "head": "", "tail": ""})

    def make_safe(self) -> None:
        """The runner is gone: end what runs, then put back what is astray, a few times at most."""
        self.halt("ended, for the runner is gone")
        while self.working:
            self.turn([])
        for _ in range(SAFE_ATTEMPTS):
            for name in sorted(self.astray):
                safe = self.orders["safe"][name]
                self.start({"run": 0, "signal": name, "leaves": "safe", **safe})
            while self.working:
                self.turn([])


def main() -> None:
    """Take orders until the word, or until the end of the runner."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda *_: None)  # not SIG_IGN: programs would inherit that
    supervisor: Supervisor | None = None
    heard = b""
    while True:
        if supervisor is None:
            select.select([0], [], [])
        elif not supervisor.turn([0]):
            continue
        octets = os.read(0, CHUNK)
        if not octets:
            break
        heard += octets
        *lines, heard = heard.split(b"\n")
        for line in lines:
            if line == b"clean":
                if supervisor is not None:
                    supervisor.halt("ended, for the run is")
                    while supervisor.working:
                        supervisor.turn([])
                return
            if supervisor is None:
                supervisor = Supervisor(json.loads(line))
                say_word("ready")
            else:
                supervisor.take(json.loads(line))
    if supervisor is not None:
        supervisor.make_safe()


def say(told: dict[str, Any]) -> None:
    """Tell the runner, if it still listens."""
    say_word(json.dumps(told))


def say_word(word: str) -> None:
    with contextlib.suppress(OSError):
        os.write(1, word.encode() + b"\n")


def _ended_by(number: int) -> str:
    try:
        return f"ended by {signal.Signals(number).name}"
    except ValueError:
        return f"ended by signal {number}"


if __name__ == "__main__":
    main()
