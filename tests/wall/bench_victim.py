"""A process for the tests to stop, signal and kill: it does one thing of a run and says so.

python bench_victim.py hold RUN PORT...          take the lock, mark, post a guard, wait
python bench_victim.py bench PORT MILLISECONDS   wait so long on a wall bench, tell what came
python bench_victim.py software PORT...          start a software rack of echo nodes, wait
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from bench.small import ms, rack

from hil.bench.guarding import Guard, SafeDatagram
from hil.bench.interrupt import Interrupts
from hil.bench.lock import RackLock
from hil.bench.software import serve_until_signal
from hil.bench.wall import WallBench
from hil.core.instant import Instant
from hil.files.read import read_rack
from hil.wire.link import Packet
from hil.wire.rack import Address


def hold(run: str, *ports: str) -> None:
    lock = RackLock.acquire("rack", [Address("127.0.0.1", int(port)) for port in ports], run)
    lock.mark_unclean()
    guard = Guard(
        lock,
        [
            SafeDatagram("127.0.0.1", Packet(f"n{port}", Address("127.0.0.1", int(port)), b"safe"))
            for port in ports
        ],
    )
    print("held", guard.pid, flush=True)
    if sys.stdin.readline() == "clean\n":
        guard.stand_down()
        lock.mark_clean()
        lock.release()
        print("released", flush=True)


def bench(port: str, milliseconds: str, stamps: str = "kernel") -> None:
    peer = Address("127.0.0.1", int(port))
    with Interrupts() as interrupts:
        opened = WallBench(rack(peer), interrupts=interrupts, stamped=stamps == "kernel")
        opened.send(Packet("n1", peer, b"hello"))
        start = opened.now()
        print("waiting", start, flush=True)
        horizon, deadline = start, Instant(start + ms(float(milliseconds)))
        while horizon < deadline:
            arrivals, horizon = opened.wait(deadline)
            for thing, at in ((one.thing, one.at) for one in arrivals):
                print(type(thing).__name__, at, repr(thing), flush=True)
        opened.close()
    print("over", interrupts.number, flush=True)


def nodes(file: str) -> None:
    with Interrupts() as interrupts:
        serve_until_signal(read_rack(file), interrupts, lambda: print("serving", flush=True))
    print("ended by", interrupts.number, flush=True)


if __name__ == "__main__":
    {"hold": hold, "bench": bench, "nodes": nodes}[sys.argv[1]](*sys.argv[2:])
