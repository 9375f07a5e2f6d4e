"""What surrounds a run: on the wall the rack's lock, its software nodes, the bench, the guard.

    open    lock → unclean end? → interface → software nodes → bench → guard → mark "unclean"
    close   rack safe      guard stands down, mark taken away
            nothing moved  the same, unless an earlier unclean end is still to be repaired
            otherwise      the guard acts now, the mark stays for the next run
            then           bench, software nodes and lock are given back

A virtual site has a bench alone: software nodes in process, nothing that could be left unsafe.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

from tenacity import Retrying, retry_if_exception_type, stop_after_attempt, wait_fixed

from hil.bench.bench import Bench
from hil.bench.child import TakenError
from hil.bench.guarding import Guard, SafeDatagram, SafeLine
from hil.bench.health import InterfaceHealth
from hil.bench.interrupt import Interrupts
from hil.bench.keyboard import Keyboard
from hil.bench.line import SerialLine
from hil.bench.lock import RackLock
from hil.bench.mark import needs_repair
from hil.bench.programs import Workshop
from hil.bench.relay import RelayProcess, behind, moved
from hil.bench.relay_medium import RelayMedium
from hil.bench.rig import check_interface, open_wall
from hil.bench.segment import segment_medium
from hil.bench.software import SoftwareProcess
from hil.bench.terminal import published
from hil.bus.medium import SegmentMedium
from hil.core.error import BenchError
from hil.core.instant import MILLISECOND, SECOND, Instant
from hil.core.observation import Command, Purpose
from hil.core.placing import safe_values
from hil.wire.console.wording import phrase
from hil.wire.link import Links
from hil.wire.rack import Address, Rack

Say = Callable[[str], object]

SAFE_REQUESTS = 0x8000
"""The first request number of the guard's datagrams, far from those of a run."""

SETTLING = Instant(2 * SECOND)
"""How long software nodes are given at most to know each other before a run begins."""

LEFTOVER_ATTEMPTS = 20
LEFTOVER_PAUSE_SECONDS = 0.5
"""Software nodes of a run that was killed live on for some seconds; that long is waited."""


@dataclass(slots=True, kw_only=True)
class Site:
    """An open bench; the runner sets `safe`, `moved` and the like before the site is closed.

    `unseen` are the addresses of nodes that never spoke: nobody made them safe.  `distrusted` are
    nodes whose place another one has taken: nothing is sent to them.
    """

    bench: Bench
    medium: SegmentMedium | None = None
    health: InterfaceHealth | None = None
    relay: RelayProcess | RelayMedium | None = None
    keyboard: Keyboard | None = None
    workshop: Workshop | None = None
    repair: bool = False
    safe: bool = False
    moved: bool = False
    unseen: frozenset[Address] = frozenset()
    distrusted: frozenset[str] = frozenset()
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
    medium = segment_medium(rack, start)
    relay = None if rack.relay is None else RelayMedium(rack, start, medium)
    begun = False
    bench = VirtualBench(
        rack,
        nodes,
        start=start,
        medium=relay or medium,
        abort=lambda now: interrupts.take(now) if begun else None,
    )
    while not nodes.settled and bench.now() < SETTLING:
        bench.wait(Instant(bench.now() + MILLISECOND))
    begun = True
    bench.open_lines()
    yield Site(bench=bench, medium=medium, relay=relay)


@contextmanager
def wall_site(
    rack: Rack,
    run: str,
    interrupts: Interrupts,
    say: Say,
    *,
    served: bool = False,
    terminal: str = "",
) -> Iterator[Site]:
    """Open the rack itself; with `served` somebody else runs its software nodes already.

    At the `terminal` somebody answers what plans ask; empty where nobody does.  Raises BenchError
    and BusyError before anything moves.
    """
    addresses = [node.address for node in rack.nodes]
    with ExitStack() as stack:
        lock = stack.enter_context(RackLock.acquire(rack.name, addresses, run))
        left = needs_repair(addresses)
        if left is not None:
            say(str(left))
        check_interface(rack)
        health = InterfaceHealth(rack)
        stack.callback(health.close)
        health.prepare()
        say(health.line())
        backs = {} if rack.relay is None or served else behind(rack)
        if rack.relay is not None and served:
            say("no relay stands before nodes that somebody else serves: nothing is disturbed")
        devices: dict[str, str] = {}
        if rack.software is not None and not served:
            software = _start_software(moved(rack, backs), after_crash=left is not None)
            stack.callback(software.stop)
            devices = software.terminals
        elif served:
            devices = _served_terminals(rack)
        relay = RelayProcess(rack, backs) if backs else None
        if relay is not None:
            stack.callback(relay.stop)
            say("a relay stands before the nodes and disturbs them while a case is on")
        bench = open_wall(rack, interrupts=interrupts, devices=devices)
        stack.callback(bench.close)
        if bench.groups:
            say(f"interface {rack.interface} listens to {', '.join(bench.groups)}")
        keyboard = Keyboard(terminal) if terminal else None
        if keyboard is not None:
            stack.callback(keyboard.close)
            bench.heed(keyboard)
        workshop = Workshop(rack, bench.now) if rack.programs else None
        if workshop is not None:
            stack.callback(workshop.settle, safe=True)  # unless it was settled before
            bench.heed(workshop)
        guard = Guard(lock, safe_datagrams(rack), safe_lines(rack, bench.lines))
        lock.mark_unclean()
        site = Site(
            bench=bench,
            health=health,
            relay=relay,
            keyboard=keyboard,
            workshop=workshop,
            repair=left is not None,
        )
        try:
            yield site
        finally:
            _settle(site, guard, lock)


def _served_terminals(rack: Rack) -> dict[str, str]:
    """Return the pseudo-terminals of nodes that somebody else serves.  Raises BenchError."""
    found = published(rack)
    consoles = [node.name for node in rack.nodes if node.console is not None]
    lacking = [name for name in consoles if name not in found]
    if lacking:
        raise BenchError(
            f"nobody serves the console of {', '.join(lacking)}\n"
            "    try: hil nodes in another terminal"
        )
    return found


def safe_datagrams(rack: Rack) -> list[SafeDatagram]:
    """Encode the request that drives each actuator of a rack safe, for the guard."""
    links = Links(rack, Instant(0), first_request=SAFE_REQUESTS)
    for token, (signal, value) in enumerate(safe_values(rack.signals()), start=1):
        command = Command(token=token, signal=signal, value=value, purpose=Purpose.SAFE)
        links.execute(command, Instant(0))
    sends = links.take_sends()
    packets = [packet for packet in sends if packet.token is not None and packet.peer.port]
    return [SafeDatagram(rack.host, packet) for packet in packets]


def safe_lines(rack: Rack, opened: Mapping[str, SerialLine]) -> list[SafeLine]:
    """Put into words what drives each actuator safe that is driven on a console, for the guard."""
    lines = []
    for node in rack.nodes:
        console = node.console
        if console is None or node.address.port:
            continue
        safe = [
            (signal, signal.drive.safe, console.commands[signal.name])
            for signal in sorted(
                node.signals, key=lambda one: not (one.drive and one.drive.actuator)
            )
            if signal.drive is not None
        ]
        said = tuple(
            (
                phrase(words.send, signal, node.encodings[signal.name], value, console.ending),
                words.accept.pattern,
            )
            for signal, value, words in safe
        )
        prompt = "" if console.prompt is None else console.prompt.pattern
        file, ending = opened[node.name].fd, console.ending
        lines.append(SafeLine(node.name, console.address, file, ending, prompt, said))
    return lines


def _settle(site: Site, guard: Guard, lock: RackLock) -> None:
    safe = site.safe or (not site.moved and not site.repair)
    open_end = "" if site.workshop is None else site.workshop.settle(safe=safe)
    site.faults += [open_end] if open_end else []
    if safe:
        try:
            guard.stand_down()
        except BenchError as error:
            site.faults.append(str(error))
        lock.mark_clean(site.unseen)
        return
    guard.spare(site.distrusted)
    guard.act()
    left = needs_repair(mark.address for mark in lock.marks)
    site.faults.append("the rack was not left safe" if left is None else left.guard)


def _start_software(rack: Rack, *, after_crash: bool) -> SoftwareProcess:
    """Start the software nodes; after a crash wait until the old ones have let go."""
    trying = Retrying(
        retry=retry_if_exception_type(TakenError),
        stop=stop_after_attempt(LEFTOVER_ATTEMPTS if after_crash else 1),
        wait=wait_fixed(LEFTOVER_PAUSE_SECONDS),
        reraise=True,
    )
    try:
        return trying(SoftwareProcess, rack)
    except TakenError as error:
        hint = (
            "end whatever has this address; if that is `hil nodes` in another terminal, "
            "`--served` uses its nodes"
        )
        raise BenchError(f"{error}\n    try: {hint}") from error
