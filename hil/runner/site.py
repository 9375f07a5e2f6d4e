"""What surrounds a run: on the wall the rack's lock, its software nodes, the bench, the guard.

    open    lock → unclean end? → software nodes → bench → guard → mark "unclean"
    close   rack safe      guard stands down, mark taken away
            nothing moved  the same, unless an earlier unclean end is still to be repaired
            otherwise      the guard acts now, the mark stays for the next run
            then           bench, software nodes and lock are given back

A virtual site has a bench alone: software nodes in process, nothing that could be left unsafe.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

from tenacity import Retrying, retry_if_exception_type, stop_after_attempt, wait_fixed

from hil.bench.bench import Bench
from hil.bench.guarding import Guard, SafeDatagram
from hil.bench.interrupt import Interrupts
from hil.bench.lock import RackLock, needs_repair
from hil.bench.rig import open_wall
from hil.bench.software import SoftwareProcess
from hil.core.engine import safe_values
from hil.core.error import BenchError
from hil.core.instant import Instant
from hil.core.observation import Command, Purpose
from hil.wire.link import Links
from hil.wire.rack import Rack

Say = Callable[[str], object]

SAFE_REQUESTS = 0x8000
"""The first request number of the guard's datagrams, far from those of a run."""

LEFTOVER_ATTEMPTS = 20
LEFTOVER_PAUSE_SECONDS = 0.5
"""Software nodes of a run that was killed live on for some seconds; that long is waited."""


@dataclass(slots=True, kw_only=True)
class Site:
    """An open bench; the runner sets `safe` and `moved` before the site is closed."""

    bench: Bench
    rack: str
    repair: bool = False
    safe: bool = False
    moved: bool = False
    faults: list[str] = field(default_factory=list)


@contextmanager
def virtual_site(rack: Rack, interrupts: Interrupts) -> Iterator[Site]:
    """Open software nodes in process, in virtual time.  Raises BenchError without a model."""
    from hil.bench.virtual import VirtualBench
    from hil.nodes.rack import SoftwareRack

    if rack.software is None:
        raise BenchError(f"{rack.file} names no software model, so it cannot be run virtually")
    start = Instant(0)
    nodes = SoftwareRack(rack, start)
    bench = VirtualBench(rack, nodes, start=start, abort=interrupts.take)
    yield Site(bench=bench, rack=rack.name)


@contextmanager
def wall_site(rack: Rack, run: str, interrupts: Interrupts, say: Say) -> Iterator[Site]:
    """Open the rack itself.  Raises BenchError and BusyError before anything moves."""
    with ExitStack() as stack:
        lock = stack.enter_context(RackLock.acquire(rack.name, run))
        left = needs_repair(rack.name)
        if left is not None:
            say(str(left))
        if rack.software is not None:
            software = _start_software(rack, after_crash=left is not None)
            stack.callback(software.stop)
        bench = open_wall(rack, interrupts=interrupts)
        stack.callback(bench.close)
        guard = Guard(lock, safe_datagrams(rack))
        lock.mark_unclean()
        site = Site(bench=bench, rack=rack.name, repair=left is not None)
        try:
            yield site
        finally:
            _settle(site, guard, lock)


def safe_datagrams(rack: Rack) -> list[SafeDatagram]:
    """Encode the request that drives each actuator of a rack safe, for the guard."""
    links = Links(rack, Instant(0), first_request=SAFE_REQUESTS)
    for token, (signal, value) in enumerate(safe_values(rack.signals()), start=1):
        command = Command(token=token, signal=signal, value=value, purpose=Purpose.SAFE)
        links.execute(command, Instant(0))
    packets = [packet for packet in links.take_sends() if packet.token is not None]
    return [SafeDatagram(rack.host, packet) for packet in packets]


def _settle(site: Site, guard: Guard, lock: RackLock) -> None:
    if site.safe or (not site.moved and not site.repair):
        try:
            guard.stand_down()
        except BenchError as error:
            site.faults.append(str(error))
        lock.mark_clean()
        return
    guard.act()
    left = needs_repair(site.rack)
    site.faults.append("the rack was not left safe" if left is None else left.guard)


def _start_software(rack: Rack, *, after_crash: bool) -> SoftwareProcess:
    """Start the software nodes; after a crash wait until the old ones have let go."""
    trying = Retrying(
        retry=retry_if_exception_type(BenchError),
        stop=stop_after_attempt(LEFTOVER_ATTEMPTS if after_crash else 1),
        wait=wait_fixed(LEFTOVER_PAUSE_SECONDS),
        reraise=True,
    )
    try:
        return trying(SoftwareProcess, rack)
    except BenchError as error:
        hint = "end whatever has these addresses; `hil nodes` in another terminal is one such"
        raise BenchError(f"{error}\n    try: {hint}") from error
