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
import re
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
    lines = [Line(entry) for entry in orders["lines"] if entry["address"] in wanted]
    rounds = 0
    everything: list[Task | Line] = [*tasks, *lines]
    while rounds < ROUNDS and not all(one.answer for one in everything):
        rounds += 1
        for one in everything:
            one.send()
        listen(everything, time.monotonic() + ROUND_SECONDS)
    commands: list[Task | Words] = [*tasks, *(words for line in lines for words in line.words)]
    for lock in ours:
        write(lock["outcome"], outcome(rounds, commands))
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
            family, local = resolve(entry["local"], 0)
            made = socket.socket(family, socket.SOCK_DGRAM)
            made.setblocking(False)
            made.bind(local)
            made.connect(resolve(entry["host"], entry["port"])[1])
            self.socket = made
        except OSError as error:
            self.trouble = str(error)

    def fileno(self) -> int:
        """Return the socket's file, or -1."""
        return -1 if self.socket is None else self.socket.fileno()

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


class Words:
    """One safe command on a serial line, and the pattern of its answer."""

    def __init__(self, node: str, octets: str, accept: str) -> None:
        self.node = node
        self.octets = bytes.fromhex(octets)
        self.accept = re.compile(accept, re.ASCII)
        self.answers: list[str] = []
        self.trouble = ""

    @property
    def answer(self) -> str:
        """The second answer: the first may be one that the runner still waited for."""
        return self.answers[1] if len(self.answers) > 1 else ""


class Line:
    """A serial line that the runner has opened: its commands, one after the other, each twice."""

    def __init__(self, entry: dict[str, Any]) -> None:
        self.file = entry["file"]
        self.ending = bytes.fromhex(entry["ending"])
        self.prompt = re.compile(entry["prompt"] or "(?!)", re.ASCII)
        self.words = [Words(entry["node"], *said) for said in entry["said"]]
        self.heard = b""

    @property
    def answer(self) -> str:
        """Something, once everything was answered."""
        return "" if self.next_words() is not None else "all"

    def next_words(self) -> Words | None:
        """Return whose turn it is: all commands once, then all of them again."""
        waiting = [words for words in self.words if not words.answer]
        return min(waiting, key=lambda words: len(words.answers), default=None)

    def fileno(self) -> int:
        """Return the open file."""
        return int(self.file)

    def send(self) -> None:
        """Say the next command; a line end first ends what the runner has left half said."""
        words = self.next_words()
        if words is not None:
            self.put(words, self.ending + words.octets)

    def put(self, words: Words, octets: bytes) -> None:
        """Write; a line that takes nothing is tried again in the next round."""
        try:
            os.write(self.file, octets)
        except OSError as error:
            words.trouble = str(error)

    def hear(self) -> None:
        """Take the lines that have come, and go on with the next command after an answer."""
        words = self.next_words()
        if words is None:
            return
        try:
            octets = os.read(self.file, 65_536)
        except BlockingIOError:
            return
        except OSError as error:
            words.trouble = str(error)
            return
        *lines, rest = re.split(rb"[\r\n]+", self.heard + octets)
        self.heard = rest[-4_096:]
        for line in lines:
            text = line.decode(errors="replace")
            while words is not None and (prompt := self.prompt.match(text)) and prompt[0]:
                text = text[prompt.end() :]
            if words is not None and words.accept.fullmatch(text):
                words.answers.append(line.hex())
                words = self.next_words()
                if words is not None:
                    self.put(words, words.octets)


def resolve(host: str, port: int) -> tuple[Any, Any]:
    """Return the family and the socket address of an IP address, which may have a zone."""
    found = socket.getaddrinfo(
        host, port, type=socket.SOCK_DGRAM, flags=socket.AI_NUMERICHOST | socket.AI_PASSIVE
    )
    return found[0][0], found[0][4]


def listen(tasks: "list[Task | Line]", deadline: float) -> None:
    """Wait for answers until all have come or the time is over."""
    poll = select.poll()
    waiting = {task.fileno(): task for task in tasks if task.fileno() >= 0 and not task.answer}
    for fd in waiting:
        poll.register(fd, select.POLLIN)
    while waiting and (left := deadline - time.monotonic()) > 0:
        for fd, event in poll.poll(left * 1_000):
            waiting[fd].hear()
            if waiting[fd].answer or event & select.POLLHUP:
                poll.unregister(fd)
                del waiting[fd]


def outcome(rounds: int, tasks: "list[Task | Words]") -> dict[str, Any]:
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
