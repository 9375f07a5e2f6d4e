"""The guard: makes the rack safe when the runner cannot, even when it was killed outright.

It is a process of its own, in a session of its own, deaf to Ctrl-C and to polite signals.  It
imports nothing of this project and next to nothing else, and is started by its path, so that
it is small and sure to start (hil.bench.guarding does that).

    stdin    one line of JSON: what to do should the runner die;  a later line replaces it;
             the word `clean`: the rack is safe, end;  end of file without it: act
    stdout   `ready`, once it holds its first orders

To act is to take the rack's lock if nobody else has it, send every safe datagram, wait for an
answer to each, send again those without one, and write down what came of it.  It does not read
answers: what an answer means only a link knows, so the next run still repairs first.
"""

import contextlib
import fcntl
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
    """Make the rack safe, unless another run has it already: that one repairs it first."""
    lock = os.open(orders["lock"], os.O_RDWR | os.O_CREAT, 0o600)
    if not take(lock, orders["holder"]):
        return
    tasks = [Task(entry) for entry in orders["datagrams"]]
    rounds = 0
    while rounds < ROUNDS and not all(task.answer for task in tasks):
        rounds += 1
        for task in tasks:
            task.send()
        listen(tasks, time.monotonic() + ROUND_SECONDS)
    write(orders["outcome"], rounds, tasks)
    os.close(lock)


def take(lock: int, holder: dict[str, Any]) -> bool:
    """Take the rack's lock; False when another run holds it.

    A dying runner closes its files one after the other, so its own lock may live a moment longer
    than the pipe; if it lives on, to be safe beats the lock.
    """
    for _ in range(20):
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            if other_run(os.pread(lock, 4096, 0), holder):
                return False
            time.sleep(0.05)
        else:
            shown = {**holder, "pid": os.getpid(), "guard": True}
            os.ftruncate(lock, 0)
            os.pwrite(lock, json.dumps(shown).encode() + b"\n", 0)
            return True
    return True


def other_run(text: bytes, holder: dict[str, Any]) -> bool:
    """Say whether the lock's text names another run than the one that is guarded."""
    try:
        shown = json.loads(text)
        return bool((shown["run"], shown["pid"]) != (holder["run"], holder["pid"]))
    except (ValueError, KeyError, TypeError):
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


def write(path: str, rounds: int, tasks: list[Task]) -> None:
    """Write down what came of it, whole or not at all."""
    outcome = {
        "sent": len(tasks),
        "answered": sum(bool(task.answer) for task in tasks),
        "rounds": rounds,
        "nodes": [
            {"node": task.node, "answer": task.answer, "trouble": task.trouble} for task in tasks
        ],
    }
    with contextlib.suppress(OSError):
        with open(path + ".new", "w") as stream:
            stream.write(json.dumps(outcome) + "\n")
        os.replace(path + ".new", path)


if __name__ == "__main__":
    main()
