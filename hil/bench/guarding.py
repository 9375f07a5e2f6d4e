"""The runner's side of the guard process (hil.bench.guard).

The guard gets its orders, encoded to the last octet, before the first command leaves; a runner
that dies in whatever way then needs to do nothing more.
"""

import json
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from hil.bench import guard
from hil.bench.child import Child
from hil.bench.lock import RackLock, socket_name
from hil.bench.mark import plain_name
from hil.core.error import BenchError
from hil.wire.link import Packet

START_SECONDS = 10.0


@dataclass(frozen=True, slots=True)
class SafeDatagram:
    """A request that drives one actuator safe, ready to be sent from `local`."""

    local: str
    packet: Packet


class Guard:
    """A guard on duty; raises BenchError when it cannot be posted."""

    def __init__(self, lock: RackLock, datagrams: Iterable[SafeDatagram]) -> None:
        self._lock = lock
        # Isolated and without site packages: it starts in a few ms and nothing can break it.
        command = [sys.executable, "-I", "-S", str(Path(guard.__file__).resolve())]
        self._child = Child("the guard", command, self._orders(datagrams), seconds=START_SECONDS)
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

    def act(self) -> None:
        """Let the guard do its work now, and wait for it: the runner could not make it safe."""
        self._child.end()

    def _orders(self, datagrams: Iterable[SafeDatagram]) -> bytes:
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
                for item in datagrams
            ],
        }
        return json.dumps(orders).encode() + b"\n"
