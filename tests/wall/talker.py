"""A node with a serial console, made of a pseudo-terminal and of nothing of this project.

    python talker.py [serial=X] [resets=MS] [babble=OCTETS_PER_S] [split=MS] [dots=MS] [rubbish]
                     [mute] [prompt] [noecho]

It prints the terminal's path, then every line that it hears.  `unplug` on its standard input takes
the terminal away, the end of it ends the program.  With `resets` it restarts when somebody opens
the terminal, and prints its boot line so many milliseconds later.
"""

import os
import select
import sys
import time
import tty

LINE = b"[%09d] the quick brown fox jumps over the lazy dog 0123456789\r\n"


class Talker:
    """One node: `rate` is what it was told, `boots` how often it has started."""

    def __init__(self, words):
        options = dict(word.partition("=")[::2] for word in words)
        self.serial = options.get("serial", "PU-1").encode()
        self.resets = int(options.get("resets", 0)) / 1e3
        self.babble = int(options.get("babble", 0))
        self.split = int(options.get("split", 0)) / 1e3
        self.dots = int(options.get("dots", 0)) / 1e3
        self.options = options
        self.master, slave = os.openpty()
        tty.setraw(slave)
        print(os.ttyname(slave), flush=True)
        os.close(slave)
        os.set_blocking(self.master, False)
        self.rate, self.boots, self.said = b"0", 1, 0
        self.heard = b""
        self.later = []  # (when, octets)
        self.open, self.down = False, False
        self.begun = 0.0

    def put(self, octets, delay=0.0):
        now = time.monotonic() + delay
        if self.split and len(octets) > 3:
            self.later += [(now, octets[:3]), (now + self.split, octets[3:])]
        else:
            self.later.append((now, octets))

    def run(self):
        stdin = sys.stdin.fileno()
        while True:
            self.look()
            files = [stdin] + ([self.master] if self.open else [])
            ready = select.select(files, (), (), 0.002)[0]
            if stdin in ready:
                word = os.read(stdin, 64)
                if not word:
                    return
                if word == b"unplug\n":
                    os.close(self.master)
                    os.read(stdin, 64)
                    return
            if self.master in ready:
                self.hear()
            self.speak()

    def look(self):
        """See whether somebody has opened the terminal, or closed it."""
        poll = select.poll()
        poll.register(self.master, 0)
        closed = any(event & select.POLLHUP for _, event in poll.poll(0))
        if self.open and closed:
            self.open = False
        elif not self.open and not closed:
            self.open, self.begun, self.said = True, time.monotonic(), 0
            self.later.clear()
            if "rubbish" in self.options:
                self.later.append((0.0, bytes.fromhex("FF9995ED")))
            if self.resets:
                self.boots, self.rate, self.down = self.boots + 1, b"0", True
                self.later.append((time.monotonic() + self.resets, b"boot: ok\r\n"))

    def hear(self):
        try:
            self.heard += os.read(self.master, 4096)
        except OSError:
            return
        *lines, self.heard = self.heard.replace(b"\r", b"\n").split(b"\n")
        for line in filter(None, lines):
            print(line.decode(errors="replace"), "(down)" if self.down else "", flush=True)
            if not self.down and not {"mute", "dots"} & set(self.options):
                self.answer(line)

    def answer(self, line):
        if "noecho" not in self.options:
            self.put(line + b"\r\n")
        verb, _, value = line.partition(b" ")
        if verb == b"id":
            self.put(b"id serial=%s firmware=1.10\r\n" % self.serial)
        elif verb == b"status":
            self.put(b"status boots=%d rate=%s\r\n" % (self.boots, self.rate))
        elif verb == b"rate" and value.isdigit():
            self.rate = value
            self.put(b"ok %s\r\n" % value)
        else:
            self.put(b"err what?\r\n")
        if "prompt" in self.options:
            self.put(b"pump> ")

    def speak(self):
        """Write what is due; a line of the babble is never cut by an answer."""
        now = time.monotonic()
        if not self.open:
            return
        if self.dots and now - self.begun >= self.dots * (self.said + 1):
            self.said += 1
            self.write(b".")
        while self.babble and self.said * len(LINE % 0) < (now - self.begun) * self.babble:
            if not self.write(LINE % self.said):
                break
            self.said += 1
        while self.later and self.later[0][0] <= now:
            octets = self.later.pop(0)[1]
            self.down = self.down and octets != b"boot: ok\r\n"
            self.write(octets)

    def write(self, octets):
        """Write all of it, waiting for room as a line does."""
        while octets:
            try:
                octets = octets[os.write(self.master, octets) :]
            except BlockingIOError:
                select.select((), (self.master,), (), 0.01)
            except OSError:
                return False
        return True


if __name__ == "__main__":
    Talker(sys.argv[1:]).run()
