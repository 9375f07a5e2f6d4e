"""The guard: makes the rack safe when the runner cannot, even when it was killed outright.

It is a process of its own, in a session of its own, deaf to Ctrl-C and to polite signals.  It
imports nothing of this project and next to nothing else, and is started by its path, so that
it is small and sure to start (hil.bench.guarding does that).

    stdin    one line of JSON: what to do should the runner die;  a later line replaces it;
             the word `clean`: the rack is safe, end;  end of file without it: act
    stdout   `ready`, once it holds its first orders

To act is to take the lock of every address that nobody else has, send every safe datagram for
those, wait for an answer to each, send again those without one, and write down what came of it.
What an answer means only a link knows: it does not read them, and the next run still repairs first.
"""

import contextlib
import json
import os
import select
import signal
import socket
import sys
import time
from typing import Any

ROUNDS = 8
ROUND_SECONDS = 0.25
ATTEMPTS, PAUSE_SECONDS = 20, 0.05


def main() -> None:
    """Wait for orders, then for the word or the end of the runner."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)
    orders = None
    for line in sys.stdin.buffer:
        if line == b"clean\n":
            return
        if not line.endswith(b"\n"):
            break  # the runner died while writing: the orders before it stand
        first, orders = orders is None, json.loads(line)
        if first:
            sys.stdout.write("ready\n")
            sys.stdout.flush()
    if orders is not None:
        act(orders)


def act(orders: dict[str, Any]) -> None:
    """Make the rack safe, but for what another run has already: that one repairs it first."""
    ours = take(orders["locks"], orders["holder"])
    wanted = {lock["address"] for lock in ours}
    tasks = [Task(entry) for entry in orders["datagrams"] if entry["address"] in wanted]
    rounds = 0
    while rounds < ROUNDS and not all(task.answer for task in tasks):
        rounds += 1
        for task in tasks:
            task.send()
        listen(tasks, time.monotonic() + ROUND_SECONDS)
    for lock in ours:
        write(lock["outcome"], outcome(rounds, tasks))
        if "held" in lock:
            write(lock["holder"], {})


def take(locks: list[dict[str, Any]], holder: dict[str, Any]) -> list[dict[str, Any]]:
    """Take the locks of all addresses; return those that no other run holds.

    A dying runner closes its files one after the other, so its own locks may live a moment longer
    than the pipe; if they live on, to be safe beats the lock.
    """
    waiting = list(locks)
    others = []
    for _ in range(ATTEMPTS):
        free = [lock for lock in waiting if bind(lock)]
        for lock in free:
            write(lock["holder"], {**holder, "pid": os.getpid(), "guard": True})
        waiting = [lock for lock in waiting if lock not in free]
        others += [lock for lock in waiting if other_run(lock["holder"], holder)]
        waiting = [lock for lock in waiting if lock not in others]
        if not waiting:
            break
        time.sleep(PAUSE_SECONDS)
    return [lock for lock in locks if lock not in others]


def bind(lock: dict[str, Any]) -> bool:
    """Take the lock of one address, until this process ends; False when it is held."""
    held = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    try:
        held.bind(lock["socket"])
    except OSError:
        held.close()
        return False
    lock["held"] = held
    return True


def other_run(path: str, holder: dict[str, Any]) -> bool:
    """Say whether the lock's words name another run than the one that is guarded."""
    try:
        with open(path, "rb") as stream:
            shown = json.loads(stream.read(65_536))
        return bool((shown["run"], shown["pid"]) != (holder["run"], holder["pid"]))
    except (OSError, ValueError, KeyError, TypeError):
        return False  # its holder is just writing it, or wiping it


class Task:
    """One safe datagram, with a socket of its own so that its answer is known for its own."""

    def __init__(self, entry: dict[str, Any]) -> None:
        self.node = entry["node"]
        self.payload = bytes.fromhex(entry["hex"])
        self.answer = ""
        self.trouble = ""
        self.socket: socket.socket | None = None
        try:
            family = socket.AF_INET6 if ":" in entry["host"] else socket.AF_INET
            made = socket.socket(family, socket.SOCK_DGRAM)
            made.setblocking(False)
            made.bind((entry["local"], 0))
            made.connect((entry["host"], entry["port"]))
            self.socket = made
        except OSError as error:
            self.trouble = str(error)

    def send(self) -> None:
        """Send it unless it was answered."""
        if self.socket is None or self.answer:
            return
        for _ in range(2):  # the first try may only bring the error of the one before
            try:
                self.socket.send(self.payload)
                return
            except OSError as error:
                self.trouble = str(error)

    def hear(self) -> None:
        """Take an answer, or the news that nobody listens."""
        if self.socket is not None:
            try:
                self.answer = self.socket.recv(65_535).hex() or "empty"
            except OSError as error:
                self.trouble = str(error)


def listen(tasks: list[Task], deadline: float) -> None:
    """Wait for answers until all have come or the time is over."""
    poll = select.poll()
    waiting = {
        task.socket.fileno(): task for task in tasks if task.socket is not None and not task.answer
    }
    for fd in waiting:
        poll.register(fd, select.POLLIN)
    while waiting and (left := deadline - time.monotonic()) > 0:
        for fd, _ in poll.poll(left * 1_000):
            waiting[fd].hear()
            if waiting[fd].answer:
                poll.unregister(fd)
                del waiting[fd]


def outcome(rounds: int, tasks: list[Task]) -> dict[str, Any]:
    """Return what came of it."""
    return {
        "sent": len(tasks),
        "answered": sum(bool(task.answer) for task in tasks),
        "rounds": rounds,
        "nodes": [
            {"node": task.node, "answer": task.answer, "trouble": task.trouble} for task in tasks
        ],
    }


def write(path: str, shown: dict[str, Any]) -> None:
    """Replace what a file says that the runner has made; it may be another user's."""
    text = json.dumps(shown).encode() + b"\n" if shown else b""
    with contextlib.suppress(OSError):
        file = os.open(path, os.O_WRONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
        os.pwrite(file, text, 0)
        os.ftruncate(file, len(text))
        os.close(file)


if __name__ == "__main__":
    main()
