"""All sockets of one side of the segment, read together, with a horizon.

An epoll set says which sockets have something, at the same cost for two as for two hundred.  But
`epoll` and `poll` round a timeout up to whole milliseconds on Linux (measured: asked for 0.7 ms,
select woke 0.09 ms late, epoll and poll 0.39 ms).  So it waits with epoll, rounded down, and for
the last two milliseconds with `select`, which looks at the epoll set as its one file.

    sleep    epoll for the whole milliseconds, select for the rest
    drain    horizon = clock;  nothing ready? → done;  else read and look again
"""

import select
from collections.abc import Callable, Iterable
from operator import itemgetter
from typing import Generic, TypeVar

from hil.bench.clock import StampClock
from hil.bench.line import SerialLine
from hil.bench.port import Port
from hil.core.instant import MILLISECOND, Instant
from hil.core.observation import HostNote
from hil.wire.rack import Address
from hil.wire.timers import NEVER

Thing = TypeVar("Thing")

AT_ONCE = 64  # datagrams read from one socket before the next one has its turn
FLOOD = 4096  # datagrams after which a wait returns although more keep coming
COARSE = 2 * MILLISECOND  # what is left of a wait when epoll is too coarse for it
PROBE_SECONDS = 0.000_5


class Ports(Generic[Thing]):
    """Reads many sockets; `hear` and `refuse` make what the caller wants of each datagram.

    hear(name, peer, payload) → thing;  refuse(name, text) → thing, for an ICMP error;
    sever(name, text) → thing, for a serial line that failed.
    `extra` are further files to wake for; they are not read here.
    Without `stamped` the instants are those of reading.
    """

    def __init__(
        self,
        ports: Iterable[Port],
        clock: StampClock,
        hear: Callable[[str, Address, bytes], Thing],
        refuse: Callable[[str, str], Thing] | None = None,
        extra: Iterable[int] = (),
        stamped: bool = False,
        sever: Callable[[str, str], Thing] | None = None,
    ) -> None:
        self._sever = sever
        self._lines: dict[int, SerialLine] = {}
        self.by_name = {port.name: port for port in ports}
        self.clock = clock
        self.stamped = stamped
        self.horizon = clock.now()
        self.crowded: set[Port] = set()
        self.step: HostNote | None = None
        self._hear, self._refuse = hear, refuse
        self._by_fd = {port.fd: port for port in self.by_name.values()}
        self._held: list[tuple[Thing, Instant]] = []
        self._ready: list[tuple[int, int]] = []
        self._epoll = select.epoll()
        self._poll = self._epoll.poll
        self._readable = [self._epoll.fileno()]
        for fd in (*self._by_fd, *extra):
            self._epoll.register(fd, select.EPOLLIN)

    def sleep(self, until: Instant | None, now: Instant) -> None:
        """Wait until something is ready, at most until the instant given."""
        if self._held:
            return  # there is something to hand over already
        if until is None:
            self._ready = self._poll()
            return
        if until - now > COARSE:
            self._ready = self._poll((until - now) // MILLISECOND / 1_000 - 0.001)
            if self._ready:
                return
            now = self.clock.now()
        select.select(self._readable, (), (), max(until - now, 0) / 1e9)

    def drain(self) -> tuple[list[tuple[Thing, Instant]], Instant]:
        """Hand over everything that is there, sorted by instant, and the new horizon."""
        clock, by_fd = self.clock, self._by_fd
        self.step = clock.look()
        heard, self._held = self._held, []
        self.crowded.clear()
        limit, count, horizon = 1, 0, clock.seen
        ready, self._ready = self._ready or self._poll(0), []
        known = NEVER  # the lines were read up to here, and are read only once
        while True:
            last: list[Instant] = []
            if self._lines and known == NEVER:
                known = self._read_lines(ready, heard, last)
            for fd, _ in ready:
                if fd in by_fd:
                    count += self._read(by_fd[fd], limit, heard, last)
            if not last:
                break
            if count > FLOOD:
                horizon = min(horizon, *last)
                break
            limit = AT_ONCE
            horizon = clock.now()
            ready = self._poll(0)
        horizon = min(horizon, known)
        return self._hand_over(heard, max(horizon, self.horizon)), self.horizon

    def add_line(self, line: SerialLine) -> None:
        """Read this serial line too."""
        self._lines[line.fd] = line
        self._epoll.register(line.fd, select.EPOLLIN)

    def drop_line(self, line: SerialLine) -> None:
        """Read this line no longer: it would be ready for ever to say that it is gone."""
        if self._lines.pop(line.fd, None) is not None:
            self._epoll.unregister(line.fd)

    def write_line(self, line: SerialLine, octets: bytes) -> str:
        """Write on a line, now or as soon as it takes it; return why that cannot be."""
        trouble = line.write(octets)
        if line.waiting and line.fd in self._lines:
            self._epoll.modify(line.fd, select.EPOLLIN | select.EPOLLOUT)
        return trouble

    def _read_lines(
        self,
        ready: list[tuple[int, int]],
        heard: list[tuple[Thing, Instant]],
        last: list[Instant],
    ) -> Instant:
        """Read every ready line empty; return up to when, NEVER where none was ready.

        A line has no stamps: what is read at once came at the instant after reading.
        """
        read: list[tuple[SerialLine, bytes]] = []
        for fd, event in ready:
            line = self._lines.get(fd)
            if line is None:
                continue
            if event & select.EPOLLOUT:
                line.flush()
                if not line.waiting:
                    self._epoll.modify(fd, select.EPOLLIN)
            read.append((line, line.read()))
        if not read:
            return NEVER
        at = self.clock.now()
        for line, octets in read:
            if octets:
                heard.append((self._hear(line.name, line.peer, octets), at))
            if line.gone:
                self.drop_line(line)
                if self._sever is not None:
                    heard.append((self._sever(line.name, line.gone), at))
        last.append(at)
        return at

    def watch(self, fd: int) -> None:
        """Wake for this extra file too."""
        self._epoll.register(fd, select.EPOLLIN)

    def forget(self, fd: int) -> None:
        """Do not wake for this extra file any more."""
        self._epoll.unregister(fd)

    def close(self) -> None:
        self._epoll.close()
        for port in self.by_name.values():
            port.close()

    def _read(
        self,
        port: Port,
        limit: int,
        heard: list[tuple[Thing, Instant]],
        last: list[Instant],
    ) -> int:
        """Read up to `limit` datagrams, and the error queue where there is nothing else."""
        count = 0
        try:
            while count < limit:
                found = port.receive(self._instant_of)
                if found is None:
                    break
                peer, payload, at = found
                heard.append((self._hear(port.name, peer, payload), at))
                count += 1
        except OSError:  # an error waits; it is in the error queue with its circumstances
            pass
        if count == 0 and self._refuse is not None:
            for text, at in port.take_errors(self._instant_of):
                heard.append((self._refuse(port.name, text), at))
                count += 1
        if count:
            last.append(heard[-1][1])
            if limit > 1:
                self.crowded.add(port)
        return count

    def _hand_over(
        self, heard: list[tuple[Thing, Instant]], horizon: Instant
    ) -> list[tuple[Thing, Instant]]:
        """Sort, and keep back what came after the horizon (only in a flood)."""
        self.horizon = horizon
        if len(heard) > 1:
            heard.sort(key=itemgetter(1))
        while heard and heard[-1][1] > horizon:
            self._held.append(heard.pop())
        return heard

    def _instant_of(self, stamp: int | None) -> Instant:
        if stamp is None or not self.stamped:
            return self.clock.now()
        return self.clock.instant_of(stamp, self.horizon)


def kernel_stamps(host: str, clock: StampClock) -> bool:
    """Find out whether the kernel stamps datagrams as they come, by asking a socket of our own.

    It sends datagrams to itself and reads them later; a stamp must be from then, not from the
    reading.  The kernel switches stamping on a moment after it is asked to, so this tries often.
    """
    port = Port("stamp probe", host)
    try:
        return any(_stamped_early(port, clock) for _ in range(20))
    finally:
        port.close()


def _stamped_early(port: Port, clock: StampClock) -> bool:
    stamps: list[int | None] = []

    def note(stamp: int | None) -> Instant:
        stamps.append(stamp)
        return clock.now()

    before = clock.now()
    if port.send(b"", port.local):
        return False
    select.select((), (), (), PROBE_SECONDS)
    port.receive(note)
    if not stamps or stamps[0] is None:
        return False
    clock.look()
    age = clock.now() - clock.instant_of(stamps[0], before)
    return age >= PROBE_SECONDS * 0.8e9
