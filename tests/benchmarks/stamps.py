"""How far an arrival stamp is from the truth, with both cores kept busy.

The node puts CLOCK_MONOTONIC in microseconds into its uptime field as it sends; it runs on this
host, so both read the same clock.  Beside the bench's stamp stands what reading the clock after
the datagram was handed over gives: what a runner without kernel stamps would have to believe.
"""

import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks.answering import NodeProcess, plain_node
from benchmarks.measure import Figure

from hil.bench.rig import open_wall
from hil.core.instant import MILLISECOND, Instant
from hil.wire.link import Packet

ROUNDS = 3000
BURNER = "import sys\nwhile True: sum(range(1000))"


def errors(folder: Path) -> tuple[list[float], list[float], str]:
    """Return the errors of stamps and of reading times in µs, and where the stamps come from."""
    stamped: list[float] = []
    read: list[float] = []
    with NodeProcess("stamp") as node:
        rack = node.rack(folder)
        bench = open_wall(rack)
        peer = rack.nodes[0].address
        burners = [subprocess.Popen([sys.executable, "-c", BURNER]) for _ in range(2)]
        try:
            for number in range(1, ROUNDS + 1):
                request = plain_node.sealed(
                    plain_node.REQUEST, 0x21, plain_node.NODE, number, plain_node.READ, 0
                )
                bench.send(Packet("gauge", peer, request))
                waited = Instant(bench.now() + 100 * MILLISECOND)
                seen = 0
                while seen < 2 and bench.now() < waited:
                    arrivals, _ = bench.wait(waited)
                    now = bench.now()
                    for thing, at in ((one.thing, one.at) for one in arrivals):
                        if not isinstance(thing, Packet):
                            continue
                        seen += 1
                        if thing.payload[0] == 0x31:
                            sent = plain_node.READING.unpack(thing.payload)[3]
                            stamped.append((at // 1000 - sent) % (1 << 32))
                            read.append((now // 1000 - sent) % (1 << 32))
        finally:
            for burner in burners:
                burner.kill()
                burner.wait()
            bench.close()
    return stamped, read, bench.stamps


def figures() -> list[Figure]:
    with tempfile.TemporaryDirectory() as name:
        stamped, read, origin = errors(Path(name))
    last = statistics.quantiles(stamped, n=100)[98]
    by_reading = statistics.quantiles(read, n=100)[98]
    return [
        Figure(
            what=f"arrival stamp ({origin}) behind the send stamp, p99, busy",
            value=f"{last:.0f} µs",
            floor="200 µs",
            ratio=last / 200,
            limit=1.0,
        ),
        Figure(
            what="  beside it: the clock read after receiving, p99",
            value=f"{by_reading:.0f} µs",
            floor=f"{last:.0f} µs",
            ratio=by_reading / max(last, 1),
            limit=1.0,
            at_least=True,
        ),
    ]
