"""The one loop: it joins a run to a bench until the run is over.

    bench ── arrivals, horizon ──▶ links ── observations ──▶ engine ── events ──▶ record
      ◀────────── packets ──────────┘  ◀────── commands ───────┘

Rules of order, the same on both benches:

* everything happens in the order of its own instant; time reaches the horizon, never "now";
* at one instant arrivals come before timers, and the links' timers before the engine's, because
  a lost answer is news to the engine;
* a packet leaves as soon as it is wanted, but *that* it left is told in its place in time, as an
  arrival is: readings that came in before it must be judged as older than it;
* what happened is recorded before the loop waits again, and after what it led to was sent: the
  disk works while the nodes do.  Only the beginning of a case is recorded before its first packet
  leaves: a run that is killed then never says of a case that moved something that it did not begin.

This file never reads a clock; it asks the bench.
"""

from collections.abc import Callable, Mapping
from operator import attrgetter

from hil.bench.bench import Arrival, Bench, Refusal
from hil.bench.parties import Engine, Links
from hil.core.error import BenchError, StoreError
from hil.core.event import CaseStarted, Datagram, Event, ForeignDatagram
from hil.core.instant import SECOND, Instant
from hil.core.observation import Abort
from hil.wire.link import Packet
from hil.wire.rack import Address

Record = Callable[[Event], object]
"""Where an event goes: the journal's own write, flushed by it."""

RecordDatagram = Callable[[Instant, str, str, bytes], object]
"""Where a datagram goes: its instant, `out` or `in`, the node, the octets."""

PATIENCE = SECOND
"""How long a run may take to make the rack safe after its bench failed."""

RESTLESS = 10_000
"""So many timers at one instant are a machine that breaks its law of progress."""


class MachineFault(RuntimeError):
    """A machine asks to be woken at the same instant for ever: a bug of ours."""


def drive(
    engine: Engine,
    links: Links,
    bench: Bench,
    record: Record,
    *,
    origin: Instant,
    observe: Callable[[Event], object] | None = None,
    record_datagram: RecordDatagram | None = None,
    addresses: Mapping[str, Address] | None = None,
) -> None:
    """Drive a run on a bench until the run is done.

    Datagrams are recorded with instants counted from `origin`, as the engine's events are: by
    `record_datagram`, where that is given, or else as events like any other; those that come from
    elsewhere than the `addresses` of the nodes as events of their own.
    `observe` sees every event of the engine after it was recorded (live progress).  When the
    bench fails the run is told to end and goes on making the rack safe for as long as the bench
    still works; raises BenchError when it does not.  When evidence cannot be written the run ends
    likewise, and StoreError is raised after the rack was made safe.
    """
    if record_datagram is None:
        record_datagram = _as_events(record)
    loop = _Loop(engine, links, bench, record, record_datagram, origin, observe, addresses or {})
    failure: BenchError | None = None
    try:
        loop.settle()
        while not engine.done:
            if loop.lines:
                loop.journal()
            if loop.unwritten is not None and not loop.aborted:
                loop.abort(str(loop.unwritten))
            try:
                loop.turn()
            except BenchError as error:
                if failure is not None:
                    raise
                failure = error
                loop.abort(str(error))
    finally:
        loop.lines += engine.take_events()
        loop.journal()
    if loop.unwritten is not None:
        raise loop.unwritten


class _Departure:
    """A packet that has left and whose leaving is still to be told."""

    __slots__ = ("at", "packet")

    def __init__(self, packet: Packet, at: Instant) -> None:
        self.packet = packet
        self.at = at


_Thing = _Departure | Arrival
_BY_INSTANT = attrgetter("at")
_Passage = tuple[Instant, str, str, bytes]
"""A datagram to be recorded: the arguments of RecordDatagram."""


class _Loop:
    """The state of one drive.

    `reached` is the instant the machines have been brought to, `wakeup` when the next of them
    changes by itself, `due` what is still to be told, in the order of its instants, and `lines`
    what is to be recorded.  `stirred` says that the engine has heard something from which more
    may follow: most readings concern nobody, and nothing is asked of the engine after them.
    """

    def __init__(
        self,
        engine: Engine,
        links: Links,
        bench: Bench,
        record: Record,
        record_datagram: RecordDatagram,
        origin: Instant,
        observe: Callable[[Event], object] | None,
        addresses: Mapping[str, Address],
    ) -> None:
        self._addresses = addresses
        self._engine, self._links, self._bench = engine, links, bench
        self._record, self._record_datagram = record, record_datagram
        self._observe, self._origin = observe, origin
        self._due: list[_Thing] = []
        self._departed: list[_Thing] = []
        self._reached = origin
        self._wakeup: Instant | None = None
        self._engine_wakeup: Instant | None = None
        self._stirred = True
        self.lines: list[Event | _Passage] = []
        self.unwritten: StoreError | None = None
        self.aborted = False

    def turn(self) -> None:
        """Wait once, and bring the machines to the new horizon."""
        engine, due = self._engine, self._due
        if self._departed:
            due += self._departed
            self._departed.clear()
        arrivals, horizon = self._bench.wait(self._wakeup)
        due += arrivals
        if len(due) > 1:
            due.sort(key=_BY_INSTANT)  # stable: at one instant departures before arrivals
        while due:
            at = due[0].at
            if self._wakeup is not None and self._wakeup < at:
                self._timers(Instant(at - 1))
            if engine.done:
                return
            if at > self._reached:
                self._reached = at
            self._deliver(due.pop(0), self._reached)
            self.settle()
        if horizon > self._reached or self._wakeup == horizon:
            self._timers(horizon)
            self._reached = max(horizon, self._reached)

    def abort(self, reason: str) -> None:
        """Tell the run that it must end."""
        self.aborted = True
        now = self._reached = max(self._bench.now(), self._reached)
        self._engine.receive(Abort(reason=reason, at=now, patience=PATIENCE), now)
        self._stirred = True
        self.settle()

    def journal(self) -> None:
        """Record what has happened since the last time, until that fails.

        From then on the rack is to be made safe without evidence.
        """
        lines, self.lines = self.lines, []
        for line in lines:
            if self.unwritten is None:
                try:
                    if isinstance(line, tuple):
                        at, way, node, octets = line
                        self._record_datagram(at, way, node, octets)
                        continue
                    self._record(line)
                except StoreError as error:
                    self.unwritten = error
            if self._observe is not None and isinstance(line, Event):
                self._observe(line)

    def settle(self) -> None:
        """Carry news and wishes between the machines until all is quiet at this instant."""
        links, receive = self._links, self._engine.receive
        for observation in links.take_observations():
            if receive(observation, self._reached) is not False:
                self._stirred = True
        self.lines += links.take_lines()
        packets = links.take_sends()
        if packets or self._stirred:
            self._exchange(packets)
        wakeup, other = links.next_wakeup(), self._engine_wakeup
        self._wakeup = other if wakeup is None or (other is not None and other < wakeup) else wakeup

    def _exchange(self, packets: tuple[Packet, ...]) -> None:
        """Send packets and do what the engine wishes, and what follows from that."""
        engine, links, now = self._engine, self._links, self._reached
        sent: list[_Departure] = []
        busy = True
        while busy:
            sent += [_Departure(packet, self._bench.send(packet)) for packet in packets]
            commands = engine.take_sends()
            for command in commands:
                links.execute(command, now)
            for observation in links.take_observations():
                engine.receive(observation, now)
            packets = links.take_sends()
            busy = bool(packets or commands)
            self.lines += engine.take_events()
            if commands and any(type(line) is CaseStarted for line in self.lines):
                self.journal()
        self._departed += sent
        if not engine.done:
            self.lines += [
                (Instant(each.at - self._origin), "out", each.packet.node, each.packet.payload)
                for each in sent
                if each.packet.peer.port
            ]
        self._engine_wakeup, self._stirred = engine.next_wakeup(), False

    def _timers(self, limit: Instant) -> None:
        """Let every timer up to `limit` do its work, in order."""
        engine, links = self._engine, self._links
        restless = 0
        while self._wakeup is not None and self._wakeup <= limit and not engine.done:
            restless = restless + 1 if self._wakeup <= self._reached else 0
            if restless > RESTLESS:
                raise MachineFault(f"woken at {self._wakeup} ns again and again, to no end")
            now = self._reached = max(self._wakeup, self._reached)
            links.tick(now)
            for observation in links.take_observations():
                if engine.receive(observation, now) is not False:
                    self._stirred = True
            due = engine.next_wakeup()
            if due is not None and due <= now:
                engine.tick(now)
                self._stirred = True
            self.settle()

    def _note_datagram(self, came: Packet, at: Instant) -> None:
        if self._addresses.get(came.node, came.peer) == came.peer:
            self.lines.append((at, "in", came.node, came.payload))
        else:
            peer, octets = str(came.peer), came.payload.hex()
            self.lines.append(ForeignDatagram(at=at, node=came.node, peer=peer, hex=octets))

    def _deliver(self, thing: _Thing, at: Instant) -> None:
        """Hand one arrival, or the news of one departure, to whom it concerns."""
        if isinstance(thing, _Departure):
            self._links.sent(thing.packet, at)
            return
        came = thing.thing
        if isinstance(came, Packet):
            if came.peer.port:  # what comes on a console is told in lines
                self._note_datagram(came, Instant(at - self._origin))
            self._links.receive(came, at)
        elif isinstance(came, Refusal):
            severed = self._links.unplugged if came.line else self._links.refused
            severed(came.node, at, came.text)
        else:
            self._engine.receive(came, at)
            self._stirred = True


def _as_events(record: Record) -> RecordDatagram:
    def record_datagram(at: Instant, way: str, node: str, octets: bytes) -> None:
        record(Datagram(at=at, way=way, node=node, hex=octets.hex()))

    return record_datagram
