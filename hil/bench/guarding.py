"""The runner's side of the guard process (hil.bench.guard).

The guard gets its orders, encoded to the last octet, before the first command leaves; a runner
that dies in whatever way then needs to do nothing more.
"""

import json
import sys
from collections.abc import Container, Iterable
from dataclasses import dataclass
from pathlib import Path

from hil.bench import guard
from hil.bench.child import Child
from hil.bench.lock import RackLock, socket_name
from hil.bench.mark import plain_name
from hil.core.error import BenchError
from hil.wire.link import Packet
from hil.wire.rack import Address

START_SECONDS = 10.0


@dataclass(frozen=True, slots=True)
class SafeDatagram:
    """A request that drives one actuator safe, ready to be sent from `local`."""

    local: str
    packet: Packet


@dataclass(frozen=True, slots=True)
class SafeLine:
    """A serial line, open as `file`, and what drives safe the actuators of the node there.

    `said` are the commands in octets, each with the pattern of its answer; `ending` ends what the
    runner may have left half said, and `prompt` is what may stand before an answer.
    """

    node: str
    address: Address
    file: int
    ending: bytes
    prompt: str
    said: tuple[tuple[bytes, str], ...]


class Guard:
    """A guard on duty; raises BenchError when it cannot be posted.

    It gets the `lines` as they are open: to open one again may restart the node, and nobody else
    can while the run has it.
    """

    def __init__(
        self, lock: RackLock, datagrams: Iterable[SafeDatagram], lines: Iterable[SafeLine] = ()
    ) -> None:
        self._lock = lock
        self._datagrams, self._lines = tuple(datagrams), tuple(lines)
        # Isolated and without site packages: it starts in a few ms and nothing can break it.
        command = [sys.executable, "-I", "-S", str(Path(guard.__file__).resolve())]
        self._child = Child(
            "the guard",
            command,
            self._orders(),
            seconds=START_SECONDS,
            files=[line.file for line in self._lines],
        )
        self.pid = self._child.pid

    @property
    def alive(self) -> bool:
        return self._child.alive

    def stand_down(self) -> None:
        """The rack is safe: let the guard go.  Raises BenchError when it was gone already."""
        gone = not self._child.alive
        self._child.tell(b"clean\n")
        code = self._child.end()
        if gone or code != 0:
            raise BenchError(f"the guard was not there any more (exit code {code})")

    def spare(self, nodes: Container[str]) -> None:
        """Send nothing to these nodes, should it come to that: others have taken their places."""
        kept = tuple(each for each in self._datagrams if each.packet.node not in nodes)
        lines = tuple(each for each in self._lines if each.node not in nodes)
        if (kept, lines) != (self._datagrams, self._lines):
            self._datagrams, self._lines = kept, lines
            self._child.tell(self._orders())

    def act(self) -> None:
        """Let the guard do its work now, and wait for it: the runner could not make it safe."""
        self._child.end()

    def _orders(self) -> bytes:
        holder = self._lock.holder
        orders = {
            "locks": [
                {
                    "address": mark.name,
                    "socket": socket_name(mark),
                    "holder": str(mark.holder_file),
                    "outcome": str(mark.guard_file),
                }
                for mark in self._lock.marks
            ],
            "holder": {"run": holder.run, "pid": holder.pid, "host": holder.host}
            | {"since": holder.since},
            "datagrams": [
                {
                    "node": item.packet.node,
                    "address": plain_name(item.packet.peer),
                    "local": item.local,
                    "host": item.packet.peer.host,
                    "port": item.packet.peer.port,
                    "hex": item.packet.payload.hex(),
                }
                for item in self._datagrams
            ],
            "lines": [
                {
                    "node": line.node,
                    "address": plain_name(line.address),
                    "file": line.file,
                    "ending": line.ending.hex(),
                    "prompt": line.prompt,
                    "said": [[octets.hex(), accept] for octets, accept in line.said],
                }
                for line in self._lines
            ],
        }
        return json.dumps(orders).encode() + b"\n"
