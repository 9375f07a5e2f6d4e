"""A tool built by hand: datagrams with `struct` alone, a CRC bit by bit, a segment of 200 µs.

It knows nothing of hil.wire.layout, so a layout that is wrong on both ends is still found out.
"""

import struct
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from hil.core.instant import Instant
from hil.files.read import read_rack
from hil.nodes.rack import SoftwareRack
from hil.wire.rack import Address, Envelope, Rack

FIXTURES = Path(__file__).parents[2] / "fixtures"
MS = 1_000_000
TRANSIT = 200_000
TOOL = Address("127.0.0.1", 50_000)

NUMBERS = {
    name: number + 1
    for number, name in enumerate(
        [
            "feedline",
            "cistern",
            "mast",
            "louvres",
            "circulator",
            "lamps",
            "beacon",
            "tile",
            "pendant",
            "console",
        ]
    )
}
HEAD = "BBHIH8s6s"
BODIES = {
    "feedline": ">hBB",
    "cistern": ">HHBBBB",
    "mast": "<IhHhh4sBB",
    "louvres": ">8hB",
    "circulator": ">BHBB",
    "lamps": ">BBBBBxB",
    "beacon": ">BB",
    "tile": ">BB16sB",
    "pendant": ">bbBBBB",
    "console": ">BBBhhBhBBBBBBB",
}
READ, LISTEN, FAULT, POWER = 1, 9, 14, 15


def crc16(octets: bytes) -> int:
    """CRC with polynomial 1021 and start FFFF, one bit at a time."""
    state = 0xFFFF
    for octet in octets:
        state ^= octet << 8
        for _ in range(8):
            state = (state << 1 ^ 0x1021 if state & 0x8000 else state << 1) & 0xFFFF
    return state


def sealed(octets: bytes) -> bytes:
    return octets + struct.pack(">H", crc16(octets))


def request(node: str, number: int, operation: int, argument: int | str = 0) -> bytes:
    if isinstance(argument, str):
        body = struct.pack(">BBHB16s", 0x23, NUMBERS[node], number, operation, argument.encode())
    else:
        body = struct.pack(">BBHBi", 0x21, NUMBERS[node], number, operation, argument)
    return sealed(body)


def answer(node: str, number: int, operation: int, status: int, result: int) -> bytes:
    return sealed(struct.pack(">BBHBBi", 0x22, NUMBERS[node], number, operation, status, result))


@dataclass
class Reading:
    """A reading, taken apart: the head, and the raw numbers of its signals in order."""

    at: int
    sequence: int
    uptime: int
    boots: int
    serial: bytes
    firmware: bytes
    raw: tuple[Any, ...]


def take_apart(node: str, payload: bytes, at: int) -> Reading:
    body = BODIES[node]
    kind, number, *rest = struct.unpack_from(body[0] + HEAD, payload)
    assert (kind, number) == (0x31, NUMBERS[node])
    assert crc16(payload[:-2]) == int.from_bytes(payload[-2:], "big")
    size = struct.calcsize(body[0] + HEAD)
    assert len(payload) == size + struct.calcsize(body) + 2
    return Reading(at, *rest, raw=struct.unpack_from(body, payload, size))


@cache
def glasshouse() -> Rack:
    return read_rack(FIXTURES / "glasshouse.yaml")


class Operator:
    """Holds the software rack and a clock; sends requests and keeps everything that comes back."""

    def __init__(self, rack: Rack | None = None) -> None:
        self.rack = glasshouse() if rack is None else rack
        self.nodes = SoftwareRack(self.rack, Instant(0))
        self.now = 0
        self.number = 0
        self.addresses = {node.name: node.address for node in self.rack.nodes}
        self.names = {address: name for name, address in self.addresses.items()}
        self.answers: list[tuple[int, str, bytes]] = []
        self.readings: dict[str, list[Reading]] = {name: [] for name in self.addresses}
        self.passed: list[tuple[int, Envelope]] = []
        self._way: deque[tuple[int, Envelope]] = deque()
        self._collect()

    def send(self, node: str, payload: bytes, source: Address = TOOL) -> None:
        self._way.append((self.now + TRANSIT, Envelope(source, self.addresses[node], payload)))

    def ask(self, node: str, operation: int, argument: int | str = 0) -> int:
        """Send a request; returns its number."""
        self.number += 1
        self.send(node, request(node, self.number, operation, argument))
        return self.number

    def listen(self, *nodes: str) -> None:
        for node in nodes or self.addresses:
            self.ask(node, LISTEN)

    def run(self, milliseconds: float) -> None:
        """Let time pass."""
        end = self.now + round(milliseconds * MS)
        while True:
            due = [self._way[0][0]] if self._way else []
            wakeup = self.nodes.next_wakeup()
            due += [] if wakeup is None else [wakeup]
            if not due or min(due) > end:
                break
            self.now = max(self.now, min(due))
            self._arrive()
            self.nodes.tick(Instant(self.now))
            self._collect()
        self.now = end

    def last(self, node: str) -> tuple[Any, ...]:
        """The raw numbers of the last reading."""
        return self.readings[node][-1].raw

    def when(self, node: str, so: Callable[[tuple[Any, ...]], bool], since: int) -> float:
        """How many milliseconds after `since` a reading first said so."""
        return next(
            (reading.at - since) / MS
            for reading in self.readings[node]
            if reading.at >= since and so(reading.raw)
        )

    def _arrive(self) -> None:
        while self._way and self._way[0][0] <= self.now:
            envelope = self._way.popleft()[1]
            if envelope.destination != TOOL:
                self.nodes.receive(envelope, Instant(self.now))
            elif envelope.payload[0] == 0x31:
                name = self.names[envelope.source]
                self.readings[name].append(take_apart(name, envelope.payload, self.now))
            else:
                self.answers.append((self.now, self.names[envelope.source], envelope.payload))

    def _collect(self) -> None:
        for envelope in self.nodes.take_sends():
            self.passed.append((self.now, envelope))
            self._way.append((self.now + TRANSIT, envelope))
