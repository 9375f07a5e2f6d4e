"""A rack of a few nodes, and small machines and benches for testing what joins them."""

from collections.abc import Callable, Iterable

from hil.bench.bench import Arrival
from hil.core.event import CaseStarted, Event, RunEnded
from hil.core.instant import Duration, Instant
from hil.core.observation import Abort, Command, Observation, Purpose
from hil.wire.link import Packet
from hil.wire.rack import Address, Envelope, Identity, Node, Rack

MS = 1_000_000


def ms(count: float) -> Instant:
    return Instant(round(count * MS))


def rack(
    *addresses: Address, host: str = "127.0.0.1", late: int = 50 * MS, name: str = "small"
) -> Rack:
    """Return a rack of nodes n1, n2, ... at these addresses."""
    nodes = tuple(
        Node(
            name=f"n{number}",
            number=number,
            address=address,
            identity=Identity(),
            signals=(),
            encodings={},
            layouts=(),
            operations={},
            answer_within=Duration(50 * MS),
        )
        for number, address in enumerate(addresses, 1)
    )
    return Rack(
        name=name,
        file="small.yaml",
        digest="",
        interface="lo",
        host=host,
        late_bound=Duration(late),
        nodes=nodes,
        software=None,
    )


FIRST, SECOND = Address("127.0.0.1", 47_901), Address("127.0.0.1", 47_902)
SMALL = rack(FIRST, SECOND)


def packet(payload: bytes = b"?", node: str = "n1", peer: Address = FIRST) -> Packet:
    return Packet(node, peer, payload)


def command(token: int = 1) -> Command:
    return Command(token=token, signal="n1.lamp", value="on", purpose=Purpose.STIMULUS)


def ended(at: int = 0) -> RunEnded:
    return RunEnded(at=Instant(at), outcome="pass", counts={}, aborted="", safe=True)


def started(at: int = 0) -> CaseStarted:
    return CaseStarted(
        at=Instant(at),
        index=0,
        plan="p",
        case="c",
        attempt=1,
        place="",
        requirements=(),
        tags=(),
    )


class Echo:
    """Software nodes that answer every envelope after `delay` with the same octets."""

    def __init__(self, delay: int = 0) -> None:
        self._delay = delay
        self._waiting: list[tuple[int, Envelope]] = []
        self._sends: list[Envelope] = []
        self.heard: list[tuple[int, bytes]] = []

    def receive(self, thing: Envelope, now: Instant) -> None:
        self.heard.append((now, thing.payload))
        back = Envelope(thing.destination, thing.source, thing.payload)
        if self._delay:
            self._waiting.append((now + self._delay, back))
        else:
            self._sends.append(back)

    def tick(self, now: Instant) -> None:
        self._sends += [envelope for at, envelope in self._waiting if at <= now]
        self._waiting = [entry for entry in self._waiting if entry[0] > now]

    def next_wakeup(self) -> Instant | None:
        return Instant(min(at for at, _ in self._waiting)) if self._waiting else None

    def take_sends(self) -> tuple[Envelope, ...]:
        sends, self._sends = tuple(self._sends), []
        return sends


class Diary:
    """An engine and links in one that write down what they are told.

    `wakeups` are the instants at which it wants to be woken, `send_at` those at which it sends a
    packet; it is done when `last` has been reached.
    """

    def __init__(
        self, *, last: int, wakeups: Iterable[int] = (), send_at: Iterable[int] = ()
    ) -> None:
        self.told: list[tuple[str, object, int]] = []
        self.done = False
        self.aborts: list[Abort] = []
        self.events: list[Event] = []
        self._last = last
        self._wakeups = sorted({*wakeups, *send_at, last})
        self._send_at = set(send_at)
        self._packets: list[Packet] = []
        self._news: list[Observation] = []

    def receive(self, seen: object, now: Instant, /) -> None:
        name = "packet" if isinstance(seen, Packet) else type(seen).__name__
        self.told.append((name, getattr(seen, "payload", seen), now))
        if isinstance(seen, Abort):
            self.aborts.append(seen)

    def sent(self, packet: Packet, at: Instant) -> None:
        self.told.append(("sent", packet.payload, at))

    def refused(self, node: str, at: Instant, text: str) -> None:
        self.told.append(("refused", f"{node}: {text}", at))

    def execute(self, command: Command, now: Instant) -> None:
        self.told.append(("execute", command.token, now))

    def tick(self, now: Instant) -> None:
        while self._wakeups and self._wakeups[0] <= now:
            at = self._wakeups.pop(0)
            self.told.append(("timer", at, now))
            if at in self._send_at:
                self._packets.append(packet(b"q%d" % at))
            if at >= self._last:
                self.done = True
                self.events.append(ended(at))

    def next_wakeup(self) -> Instant | None:
        return Instant(self._wakeups[0]) if self._wakeups else None

    def take_sends(self) -> tuple[Packet, ...]:
        sends, self._packets = tuple(self._packets), []
        return sends

    def take_observations(self) -> list[Observation]:
        news, self._news = self._news, []
        return news

    def unplugged(self, node: str, at: Instant, text: str) -> None:
        self.told.append(("unplugged", f"{node}: {text}", at))

    def take_lines(self) -> list[Event]:
        return []

    def take_events(self) -> list[Event]:
        events, self.events = self.events, []
        return events


class Silent:
    """An engine or links with nothing to say, to stand beside a Diary."""

    def __init__(self, done: Callable[[], bool] = lambda: False) -> None:
        self._done = done
        self.aborts: list[Abort] = []

    @property
    def done(self) -> bool:
        return self._done()

    def receive(self, seen: object, now: Instant, /) -> None:
        if isinstance(seen, Abort):
            self.aborts.append(seen)

    def tick(self, now: Instant) -> None: ...
    def sent(self, packet: Packet, at: Instant) -> None: ...
    def refused(self, node: str, at: Instant, text: str) -> None: ...
    def execute(self, command: Command, now: Instant) -> None: ...
    def next_wakeup(self) -> Instant | None:
        return None

    def take_sends(self) -> tuple[()]:
        return ()

    def take_observations(self) -> list[Observation]:
        return []

    def unplugged(self, node: str, at: Instant, text: str) -> None: ...
    def take_lines(self) -> list[Event]:
        return []

    def take_events(self) -> list[Event]:
        return []


class Script:
    """A bench that hands over what it was given: (horizon, arrivals) for one wait after another.

    After the last it jumps to whatever it is asked to wait for.  Sends are stamped with the
    instants in `stamps`, then with the horizon.
    """

    stamps = "virtual"

    def __init__(self, *waits: tuple[int, list[Arrival]], stamps: Iterable[int] = ()) -> None:
        self._waits = list(waits)
        self._stamps = list(stamps)
        self._now = Instant(0)
        self.sent: list[Packet] = []
        self.asked: list[Instant | None] = []

    def now(self) -> Instant:
        return self._now

    def send(self, packet: Packet) -> Instant:
        self.sent.append(packet)
        return Instant(self._stamps.pop(0)) if self._stamps else self._now

    def wait(self, until: Instant | None) -> tuple[list[Arrival], Instant]:
        self.asked.append(until)
        if self._waits:
            horizon, arrivals = self._waits.pop(0)
            self._now = Instant(horizon)
            return arrivals, self._now
        assert until is not None
        self._now = max(self._now, until)
        return [], self._now

    def close(self) -> None: ...
