"""A node made of `struct` and one socket, and of nothing that belongs to this project.

It stands for a node that nobody here wrote: a gauge whose pressure can be injected, a lamp that
is red from 4.00 bar, and an arm that moves where it is told.  Run it as a program:

    python plain_node.py PORT [slow-ms=N] [mute] [stamp] [boots=N]

It prints `ready PORT` and answers until its standard input closes.  With `stamp` the uptime field
carries microseconds of CLOCK_MONOTONIC at the moment of sending.  `mute` never answers at all.
Once a second, and after each change, it tells its listeners how things are.
"""

import select
import socket
import struct
import sys
import time

REQUEST = struct.Struct(">BBHBiH")  # 21, node, request, operation, argument, check
ANSWER = struct.Struct(">BBHBBiH")  # 22, node, request, operation, status, value, check
READING = struct.Struct(">BBHIHhBhH")  # 31, node, sequence, uptime, boots, cbar, lamp, arm, check
NODE = 7
READ, LISTEN, PRESSURE, ARM = 1, 9, 2, 3


def check(octets: bytes) -> int:
    """CRC-16, polynomial 1021, start FFFF, bit by bit."""
    crc = 0xFFFF
    for octet in octets:
        crc ^= octet << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


def _table() -> list[int]:
    table = []
    for octet in range(256):
        crc = octet << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
        table.append(crc)
    return table


TABLE = _table()


def fast_check(octets: bytes) -> int:
    """The same from a table, so that the node costs little in benchmarks."""
    crc = 0xFFFF
    for octet in octets:
        crc = (crc << 8 & 0xFFFF) ^ TABLE[crc >> 8 ^ octet]
    return crc


def sealed(form: struct.Struct, *values: int) -> bytes:
    body = form.pack(*values, 0)[:-2]
    return body + struct.pack(">H", fast_check(body))


class PlainNode:
    """The state of the node and what it says about it."""

    def __init__(self, stamp: bool = False, boots: int = 5) -> None:
        self.pressure, self.arm, self.sequence, self.boots = 200, 0, 0, boots
        self.stamp = stamp
        self.began = time.monotonic_ns()
        self.listeners: dict[tuple[str, int], float] = {}

    def reading(self) -> bytes:
        self.sequence = (self.sequence + 1) & 0xFFFF
        now = time.monotonic_ns()
        uptime = now // 1000 if self.stamp else (now - self.began) // 1_000_000
        lamp = 3 if self.pressure >= 400 else 1
        return sealed(
            READING,
            0x31,
            NODE,
            self.sequence,
            uptime & 0xFFFFFFFF,
            self.boots,
            self.pressure,
            lamp,
            self.arm,
        )

    def take(self, datagram: bytes, peer: tuple[str, int]) -> list[bytes]:
        """Return what is sent back to the one who asked."""
        if (
            len(datagram) != REQUEST.size
            or fast_check(datagram[:-2]) != struct.unpack(">H", datagram[-2:])[0]
        ):
            return []
        kind, node, request, operation, argument, _ = REQUEST.unpack(datagram)
        if kind != 0x21 or node != NODE:
            return []
        status = 0
        if operation == PRESSURE and 0 <= argument <= 1000:
            self.pressure = argument
        elif operation == ARM and -900 <= argument <= 900:
            self.arm = argument
        elif operation == LISTEN:
            self.listeners[peer] = time.monotonic() + 6
        elif operation != READ:
            status = 2
        answer = sealed(ANSWER, 0x22, NODE, request, operation, status, argument)
        return [answer, self.reading()]


def main() -> None:
    options = dict(word.split("=") if "=" in word else (word, "1") for word in sys.argv[2:])
    slow = int(options.get("slow-ms", "0")) / 1000
    node = PlainNode(stamp="stamp" in options, boots=int(options.get("boots", "5")))
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.bind(("127.0.0.1", int(sys.argv[1])))
    print("ready", sock.getsockname()[1], flush=True)
    tell = time.monotonic() + 1
    while True:
        ready, _, _ = select.select([sock, sys.stdin], [], [], max(0, tell - time.monotonic()))
        if sys.stdin in ready and not sys.stdin.buffer.read1(1):
            return
        if sock in ready:
            datagram, peer = sock.recvfrom(65535)
            if "mute" in options:
                continue
            for reply in node.take(datagram, peer):
                if slow:
                    time.sleep(slow)  # a node that is slow, by order of the test
                sock.sendto(reply, peer)
        if time.monotonic() >= tell and "mute" not in options:
            tell = time.monotonic() + 1
            for peer, until in list(node.listeners.items()):
                if until > time.monotonic():
                    sock.sendto(node.reading(), peer)


BENCH = """\
bench: plain
interface: lo
host: 127.0.0.1
checks:
  ccitt: {width: 16, polynomial: 0x1021, start: 0xFFFF, reflect-in: no, reflect-out: no,
          final-xor: 0x0000, check: 0x29B1}
layouts:
  request:
    role: request
    order: big
    fields:
      - {name: kind, type: u8, constant: 0x21}
      - {name: node, type: u8, is: node}
      - {name: request, type: u16, is: request}
      - {name: operation, type: u8, is: operation}
      - {name: argument, type: i32, is: value}
      - {name: check, type: u16, is: crc, crc: ccitt}
    examples:
      - {bytes: "@request", values: {node: 7, request: 65, operation: 2, argument: 480}}
  answer:
    role: answer
    order: big
    fields:
      - {name: kind, type: u8, constant: 0x22}
      - {name: node, type: u8, is: node}
      - {name: request, type: u16, is: request}
      - {name: operation, type: u8, is: operation}
      - {name: status, type: u8, is: status}
      - {name: value, type: i32, is: value}
      - {name: check, type: u16, is: crc, crc: ccitt}
    examples:
      - {bytes: "@answer", values: {node: 7, request: 65, operation: 2, status: 0, value: 480}}
  gauge-reading:
    role: reading
    order: big
    fields:
      - {name: kind, type: u8, constant: 0x31}
      - {name: node, type: u8, is: node}
      - {name: sequence, type: u16, is: sequence}
      - {name: uptime, type: u32, is: uptime, tick: 1 ms}
      - {name: boots, type: u16, is: boots}
      - {signal: pressure, type: i16}
      - {signal: lamp, type: u8}
      - {signal: arm, type: i16}
      - {name: check, type: u16, is: crc, crc: ccitt}
    examples:
      - {bytes: "@reading", values: {node: 7, sequence: 9, uptime: 1000, boots: 5,
                                     pressure: 4.80 bar, lamp: red, arm: -45.0 deg}}
nodes:
  gauge:
    number: 7
    address: 127.0.0.1:@port
    layouts: [request, answer, gauge-reading]
    answer-within: 50 ms
    requests: {read: 1, listen: 9, renew: 2 s}
    signals:
      pressure:
        unit: bar
        scale: 0.01
        range: 0 bar to 10 bar
        drive: {operation: 2, safe: 2 bar, rest: 2 bar, actuator: no}
      lamp:
        labels: {0: off, 1: green, 2: amber, 3: red}
      arm:
        unit: deg
        scale: 0.1
        range: -90 deg to 90 deg
        drive: {operation: 3, safe: 0 deg, readback: arm, readback-tolerance: 1 deg}
"""


def bench_text(port: int) -> str:
    """Return a bench file for the node at this port, with worked examples made right here."""
    request = sealed(REQUEST, 0x21, NODE, 65, 2, 480)
    answer = sealed(ANSWER, 0x22, NODE, 65, 2, 0, 480)
    reading = sealed(READING, 0x31, NODE, 9, 1000, 5, 480, 3, -450)
    return (
        BENCH.replace("@request", request.hex(" "))
        .replace("@answer", answer.hex(" "))
        .replace("@reading", reading.hex(" "))
        .replace("@port", str(port))
    )


if __name__ == "__main__":
    main()
