"""The shared segment as a machine: envelopes go in at one instant and come out at another.

    receive   a node, or the tool, hands a datagram to its MAC; it waits in that MAC's queue
    tick      turns open, frames are sent, noise does its work
    take_sends  the envelopes whose last bit has arrived, in that order

A frame arrives everywhere at once: propagation (at most 5 ns/m) is left out.  A datagram that
needs several frames arrives with the last one, or not at all.  One to a group arrives at every
other participant, addressed to that participant itself, because in process nobody joins groups.
Nothing is lost or doubled but what the counters say.
"""

from collections import deque
from collections.abc import Mapping

from hil.bus.contention import Contention
from hil.bus.group import Groups
from hil.bus.segment import Segment, frames_of, wire_bt
from hil.bus.spoiler import SILENCE, Noise, Spoiler
from hil.bus.tally import Counters, Share
from hil.bus.turns import Ended, Turns
from hil.core.instant import Duration, Instant, since
from hil.wire.rack import Address, Envelope

ORIGIN = Instant(0)
QUEUE = 256
"""How many frames a MAC holds; more are refused and counted."""


class Datagram:
    """An envelope that takes several frames, on its way."""

    __slots__ = ("envelope", "frames_left", "ruined")

    def __init__(self, envelope: Envelope, frames: int) -> None:
        self.envelope = envelope
        self.frames_left = frames
        self.ruined = False


class SegmentMedium:
    """A machine; plugs into the virtual bench as its medium.

    `stations` says which participant an address belongs to; an address it does not know belongs
    to `tool`.  `queue` is how many frames a MAC holds; `heard` says for a group to which address
    the tool's copy goes.  Raises ValueError for a segment no
    medium can behave like: unknown names, or ids that are given twice (hil.bus.findings says
    what is wrong with it).
    """

    def __init__(
        self,
        segment: Segment,
        stations: Mapping[Address, str],
        tool: str,
        *,
        start: Instant = ORIGIN,
        seed: int = 0,
        noise: Noise = SILENCE,
        queue: int = QUEUE,
        heard: Mapping[Address, Address] | None = None,
    ) -> None:
        names = [each.name for each in segment.participants]
        index = {name: number for number, name in enumerate(names)}
        _refuse_nonsense(segment, index, [*stations.values(), tool])
        self._segment, self._start, self._now = segment, start, start
        self._reached = start - 1
        self._tool = index[tool]
        self._owner = {address: index[name] for address, name in stations.items()}
        self._line: Turns | Contention = (
            Turns(segment, start) if segment.takes_turns else Contention(segment, start, seed)
        )
        self._spoiler = None if noise == SILENCE else Spoiler(noise, seed)
        self._groups = Groups(self._owner, len(names), self._tool, heard or {})
        self._room = queue
        self._due: deque[tuple[int, Envelope]] = deque()
        self._handed, self._refused, self._given_up, self._sent, self._airtime = (
            [0] * len(names) for _ in range(5)
        )
        self._spoiled = self._lost = 0
        self._wires: dict[tuple[int, str], list[int]] = {}

    # --- the machine ---------------------------------------------------------------------------

    def receive(self, thing: Envelope, now: Instant) -> None:
        """Take a datagram that its sender hands to its MAC at `now`."""
        if now - 1 > self._reached:
            self._reach(now - 1)
        self._now = now
        owner, destination = self._owner, thing.destination
        who = owner.get(thing.source, self._tool)
        if owner.get(destination) == who:  # within one host nothing goes on the line
            self._due.appendleft((now, thing))
            return
        size = len(thing.payload), destination.host
        wires = self._wires.get(size) or self._measure(size)
        line, count = self._line, len(wires)
        self._handed[who] += count
        if len(line.queues[who]) + count > self._room:
            self._refused[who] += count
        elif count == 1:
            line.offer(who, now, wires[0], thing)
        else:
            datagram = Datagram(thing, count)
            for wire in wires:
                line.offer(who, now, wire, datagram)

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        self._reach(now)
        self._now = now

    def next_wakeup(self) -> Instant | None:
        """Return when the next envelope arrives or a held turn goes on or ends; None for never."""
        event = self._line.next_end()
        if not self._due:
            return None if event is None else Instant(event)
        arrives = self._due[0][0]
        return Instant(arrives if event is None or arrives < event else event)

    def take_sends(self) -> tuple[Envelope, ...]:
        """Hand over the envelopes that have arrived, in the order of their arrival."""
        due, now = self._due, self._now
        arrived = []
        while due and due[0][0] <= now:
            arrived.append(due.popleft()[1])
        return tuple(arrived)

    def take_deliveries(self) -> list[tuple[Envelope, Instant]]:
        """Hand over what `take_sends` would, each with the instant of its last bit."""
        due, now = self._due, self._now
        arrived = []
        while due and due[0][0] <= now:
            at, envelope = due.popleft()
            arrived.append((envelope, Instant(at)))
        return arrived

    # --- what it saw ---------------------------------------------------------------------------

    def counters(self) -> Counters:
        """Return the traffic up to the instant reached."""
        line = self._line
        shares = tuple(
            Share(
                name=each.name,
                handed=self._handed[who],
                sent=self._sent[who],
                waiting=len(line.queues[who]),
                refused=self._refused[who],
                given_up=self._given_up[who],
                collisions=line.collisions[who],
                airtime=Duration(self._airtime[who]),
                wait_median=line.waits[who].quantile(500),
                wait_high=line.waits[who].quantile(990),
                wait_longest=Duration(line.waits[who].longest),
            )
            for who, each in enumerate(self._segment.participants)
        )
        return Counters(
            at=self._now,
            elapsed=since(self._start, self._now),
            busy=Duration(line.busy),
            frames=sum(self._sent),
            spoiled=self._spoiled,
            lost=self._lost,
            shares=shares,
        )

    # --- inside --------------------------------------------------------------------------------

    def _reach(self, now: int) -> None:
        if now <= self._reached:
            return
        self._reached = now
        line = self._line
        line.advance(now)
        if line.given_up:
            for _, who, _, _ in line.given_up:  # what is left of its datagram never arrives whole
                self._given_up[who] += 1
            line.given_up.clear()
        if line.ended:
            self._collect(line.ended)
            line.ended.clear()

    def _collect(self, ended: list[Ended]) -> None:
        sent, airtime, due = self._sent, self._airtime, self._due
        groups, spoiler = self._groups, self._spoiler
        for at, who, wire, thing in ended:
            sent[who] += 1
            airtime[who] += wire
            whole = spoiler is None or self._survives(spoiler, wire)
            if type(thing) is Datagram:
                thing.frames_left -= 1
                thing.ruined |= not whole
                if thing.frames_left or thing.ruined:
                    continue
                thing = thing.envelope
            elif not whole:
                continue
            assert isinstance(thing, Envelope)
            if groups.is_single(thing.destination):
                due.append((at, thing))
            else:
                due.extend((at, copy) for copy in groups.copies(thing, who))

    def _survives(self, spoiler: Spoiler, wire: int) -> bool:
        if spoiler.swallows():
            self._lost += 1
            return False
        if spoiler.spoils(wire // self._segment.bit_ns):
            self._spoiled += 1
            return False
        return True

    def _measure(self, size: tuple[int, str]) -> list[int]:
        """Return how long each frame of a datagram is on the line; IPv6 has longer headers."""
        payload, host = size
        bit, esd = self._segment.bit_ns, self._segment.esd
        wires = [
            wire_bt(octets, esd) * bit for octets in frames_of(payload, 6 if ":" in host else 4)
        ]
        self._wires[size] = wires
        return wires


def _refuse_nonsense(segment: Segment, index: Mapping[str, int], names: list[str]) -> None:
    unknown = sorted(set(names) - set(index))
    if unknown:
        raise ValueError(f"no participant of the segment is called {', '.join(unknown)}")
    ids = [each.plca_id for each in segment.participants if each.plca_id is not None]
    twice = sorted({number for number in ids if ids.count(number) > 1})
    if segment.takes_turns and twice:
        raise ValueError(f"PLCA id {twice[0]} is given twice: the medium cannot take turns")
