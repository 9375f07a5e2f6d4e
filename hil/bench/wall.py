"""The wall bench: real sockets on the rack's interface, CLOCK_MONOTONIC, kernel stamps.

One socket per node, bound to the bench computer's address on the rack's segment, so that
everything that happens to a socket, an ICMP error too, belongs to one node.

The bench watches itself: how late it woke, how long the run kept it away, what the kernel
dropped, whether the wall clock was stepped.  Such a note is handed over *before* the timers it
throws doubt on: its arrival lies at the beginning of the doubtful time, its own `at` at the end.
"""

from collections.abc import Mapping

from hil.bench.adapter import device_of
from hil.bench.aside import Aside
from hil.bench.bench import Arrival, Refusal
from hil.bench.clock import StampClock
from hil.bench.group import GroupPort, pin_sending
from hil.bench.interrupt import Interrupts
from hil.bench.lateness import Lateness
from hil.bench.line import SerialLine, open_line
from hil.bench.port import Port
from hil.bench.ports import Ports, kernel_stamps
from hil.core.count import counted
from hil.core.error import BenchError
from hil.core.instant import Duration, Instant, earliest
from hil.core.observation import Abort, HostNote, HostTrouble
from hil.wire.link import Packet
from hil.wire.mail import GroupMail
from hil.wire.rack import Address, Rack
from hil.wire.zone import zone_of

RECEIVE_BUFFER = 1 << 20
"""What is asked for, in octets; the kernel may give less and `receive_buffer` says what it gave."""

_Thing = Packet | Refusal | HostNote | Abort


class WallBench:
    """A bench on real wires; open it through hil.bench.rig, which knows how to say what fails.

    Whether the kernel stamps is found out, unless `stamped` says it.

    Raises OSError when a socket cannot be bound and BenchError when an address makes no sense.
    """

    def __init__(
        self,
        rack: Rack,
        *,
        receive_buffer: int = RECEIVE_BUFFER,
        clock: StampClock | None = None,
        interrupts: Interrupts | None = None,
        stamped: bool | None = None,
    ) -> None:
        self._asides: list[Aside] = []
        self._clock = StampClock() if clock is None else clock
        self.now = self._clock.now
        self._interrupts = interrupts
        if stamped is None:
            stamped = kernel_stamps(rack.host, self._clock)
        self.stamps = "kernel" if stamped else "read time"
        self._mail = GroupMail(rack)
        opened = _open_ports(rack, self._mail, receive_buffer)
        bell = () if interrupts is None else (interrupts.fd,)
        self._ports: Ports[_Thing] = Ports(
            opened,
            self._clock,
            self._mail.packet if self._mail.groups else Packet,
            Refusal,
            extra=bell,
            stamped=stamped,
            sever=_severed,
        )
        self.lines: dict[str, SerialLine] = {}
        """The open serial lines, by the names of their nodes."""
        self._drops = {port.name: port.drops() for port in opened}
        self._drops_seen = self.now()
        self._news: list[Arrival] = []
        self._bound = rack.late_bound
        self._lateness = Lateness(rack.late_bound, self.now())
        # Without stamps a stall is only noticed when a sleep has an end.
        self._nap = None if stamped else Duration(max(rack.late_bound // 2, 1))

    @property
    def receive_buffer(self) -> dict[str, int]:
        """The real size of each node's receive buffer, as the kernel counts it."""
        return {port.name: port.receive_buffer() for port in self._ports.by_name.values()}

    @property
    def local(self) -> dict[str, Address]:
        """The tool's own address towards each node."""
        return {port.name: port.local for port in self._ports.by_name.values()}

    @property
    def groups(self) -> tuple[str, ...]:
        """The groups that were joined, on the rack's interface and nowhere else."""
        return tuple(self._mail.groups)

    @property
    def latest(self) -> Duration:
        """The longest that the bench was late so far."""
        return self._lateness.worst

    def open_lines(self, rack: Rack, devices: Mapping[str, str]) -> None:
        """Open the serial lines of a rack, once; `devices` says where those of some nodes are.

        Raises BenchError with a sentence.
        """
        for node in rack.nodes:
            if node.console is not None:
                device = devices.get(node.name) or device_of(node.name, node.console)
                line = open_line(node.name, node.console, device)
                self.lines[node.name] = line
                self._ports.add_line(line)

    def send(self, packet: Packet) -> Instant:
        at = self.now()
        if packet.peer.port:
            trouble = self._ports.by_name[packet.node].send(packet.payload, packet.peer)
        else:
            trouble = self._ports.write_line(self.lines[packet.node], packet.payload)
        after = self.now()
        if trouble:
            refusal = Refusal(packet.node, trouble, line=not packet.peer.port)
            self._news.append(Arrival(refusal, after))
        if after - at > self._bound:
            late = self._lateness.sending(at, after)
            self._news += [Arrival(late, at)] if late is not None else []
        return at

    def wait(self, until: Instant | None) -> tuple[list[Arrival], Instant]:
        ports, lateness = self._ports, self._lateness
        floor = ports.horizon
        now = self.now()
        late = lateness.came_back(now)
        asked = None
        if late is None and not self._news:
            asked = self._asked(until, now)
            for aside in self._asides:
                asked = earliest(asked, aside.due(now))
            ports.sleep(asked, now)
        heard, horizon = ports.drain()
        if asked is not None and late is None:
            late = lateness.woke(max(asked, now), self._clock.seen)
        arrivals = [Arrival(thing, at) for thing, at in heard]
        if late is not None or self._news or ports.step is not None:
            self._add_notes(arrivals, late, floor, horizon)
        for aside in self._asides:
            arrivals += aside.collect(horizon)
        if self._interrupts is not None:
            self._add_abort(arrivals, horizon)
        if ports.crowded or (until is not None and horizon >= until):
            self._add_drops(arrivals, floor, horizon)
        lateness.left(horizon)
        return arrivals, horizon

    def heed(self, aside: Aside) -> None:
        """Listen to something beside the segment as well."""
        aside.attach(self._ports.watch, self._ports.forget)
        self._asides.append(aside)

    def close(self) -> None:
        self._ports.close()
        for line in self.lines.values():
            line.close()

    def _asked(self, until: Instant | None, now: Instant) -> Instant | None:
        """Return until when to sleep."""
        if self._nap is not None and (until is None or until - now > self._nap):
            return Instant(now + self._nap)
        return until

    def _add_notes(
        self, arrivals: list[Arrival], late: HostNote | None, floor: Instant, horizon: Instant
    ) -> None:
        """Put what the bench has to say about itself in its place among the arrivals."""
        if late is not None:
            self._news.append(Arrival(late, late.since))
        if self._ports.step is not None:
            self._news.append(Arrival(self._ports.step, self._ports.step.since))
        for news in self._news:
            arrivals.append(Arrival(news.thing, max(floor, min(news.at, horizon))))
        self._news.clear()
        arrivals.sort(key=lambda arrival: arrival.at)

    def _add_abort(self, arrivals: list[Arrival], horizon: Instant) -> None:
        assert self._interrupts is not None
        abort = self._interrupts.take(horizon)
        if abort is not None:
            self._interrupts.silence()
            arrivals.append(Arrival(abort, horizon))

    def _add_drops(self, arrivals: list[Arrival], floor: Instant, horizon: Instant) -> None:
        """Read the kernel's drop counters; before any timer may be judged by what is missing."""
        since, self._drops_seen = self._drops_seen, horizon
        notes = []
        for port in self._ports.by_name.values():
            rise = (port.drops() - self._drops[port.name]) % (1 << 32)
            if rise:
                self._drops[port.name] = (self._drops[port.name] + rise) % (1 << 32)
                notes.append(Arrival(_dropped(port, rise, since, horizon), floor))
        arrivals[:0] = notes


def _severed(node: str, text: str) -> Refusal:
    return Refusal(node, text, line=True)


def _dropped(port: Port, rise: int, since: Instant, at: Instant) -> HostNote:
    return HostNote(
        trouble=HostTrouble.DROPPED,
        at=at,
        amount=rise,
        since=since,
        text=(
            f"the bench computer dropped {counted(rise, 'datagram')} from {port.name}: more came "
            f"than were read, the receive buffer is {port.receive_buffer()} octets"
        ),
    )


def _open_ports(rack: Rack, mail: GroupMail, receive_buffer: int) -> list[Port]:
    """Open one socket for each node and one for each group, all on the rack's interface."""
    opened: list[Port] = []
    name = rack.interface
    nodes = [node for node in rack.nodes if node.address.port]  # others are on serial lines
    try:
        for node in nodes:
            port = Port(node.name, rack.host, receive_buffer=receive_buffer, interface=name)
            opened.append(port)
            pin_sending(port.socket, name, "")
            port.know(node.address)
        for word, group in mail.groups.items():
            made = GroupPort(word, group, interface=name, receive_buffer=receive_buffer)
            opened.append(made)
        for node in nodes:
            if zone_of(node.address.host):  # it has two names, and is to bear the declared one
                for port in opened:
                    port.know(node.address)
    except (OSError, BenchError):
        for port in opened:
            port.close()
        raise
    return opened
