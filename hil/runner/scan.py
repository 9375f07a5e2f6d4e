"""A scan of a rack, from the bench file to who was found there.

On the wall: lock of the rack → interface → software nodes, where the file has them → sockets.
Nothing that is sent can move anything, and nothing is left behind.
"""

from contextlib import ExitStack
from dataclasses import replace

from hil.bench.bench import Bench, Refusal
from hil.bench.interrupt import Interrupts
from hil.bench.lock import RackLock
from hil.bench.rig import check_interface, open_wall
from hil.bench.segment import segment_medium
from hil.bench.software import SoftwareProcess
from hil.core.error import BenchError
from hil.core.instant import Instant
from hil.core.observation import Abort
from hil.runner.site import Say
from hil.wire.announce import Discovery
from hil.wire.link import Packet
from hil.wire.rack import Rack
from hil.wire.scan import Scan


class Stopped(Exception):
    """Somebody ended the scan."""


def scan_virtually(rack: Rack) -> Scan:
    """Scan the software nodes of a rack in process.  Raises BenchError without a model."""
    from hil.bench.virtual import VirtualBench
    from hil.nodes.rack import SoftwareRack

    if rack.software is None:
        raise BenchError(f"{rack.file} names no software model, so it cannot be scanned virtually")
    start = Instant(0)
    nodes = SoftwareRack(rack, start)
    bench = VirtualBench(rack, nodes, start=start, medium=segment_medium(rack, start))
    scan = Scan(rack, start)
    _drive(scan, bench)
    return scan


def scan_on_wall(rack: Rack, say: Say, *, served: bool = False) -> Scan:
    """Scan the rack itself; with `served` somebody else runs its software nodes already.

    Raises BenchError and BusyError, and Stopped on Ctrl-C.
    """
    addresses = [node.address for node in rack.nodes]
    with Interrupts() as interrupts, ExitStack() as stack:
        stack.enter_context(RackLock.acquire(rack.name, addresses, "of a scan"))
        check_interface(rack)
        if rack.software is not None and not served:
            stack.callback(SoftwareProcess(rack).stop)
        silent = tuple(replace(node, console=None) for node in rack.nodes)  # opening may reset
        bench = open_wall(replace(rack, nodes=silent), interrupts=interrupts)
        stack.callback(bench.close)
        joined = f", listening to {', '.join(bench.groups)}" if bench.groups else ""
        say(f"interface {rack.interface}, {rack.host}{joined}")
        scan = Scan(rack, bench.now())
        for question in scan.questions():
            say(f"each round asks: {question}")
        _drive(scan, bench)
    return scan


def with_rounds(rack: Rack, rounds: int | None, coap: bool) -> Rack:
    """Return the rack with another number of rounds, and CoAP nodes asked where that is wanted."""
    plan = rack.discovery or Discovery()
    plan = replace(plan, rounds=rounds or plan.rounds, coap=coap or plan.coap)
    return replace(rack, discovery=plan)


def _drive(scan: Scan, bench: Bench) -> None:
    while not scan.done:
        for packet in scan.take_sends():
            bench.send(packet)
        arrivals, horizon = bench.wait(scan.next_wakeup())
        for arrival in arrivals:
            thing = arrival.thing
            if isinstance(thing, Packet):
                scan.receive(thing, arrival.at)
            elif isinstance(thing, Refusal):
                scan.refused(thing.text)
            elif isinstance(thing, Abort):
                raise Stopped(thing.reason)
        scan.tick(horizon)
