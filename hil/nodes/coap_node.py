"""A software node that speaks CoAP: resources as its bench file says, and a model behind them.

    GET   the values of a resource, in its format; observers are told of each change, and at each beat
    PUT   a command, as hil.nodes.node knows it: 2.04 done, 4.00 with the reason where it is not

`power: restart` answers, goes away for a while, forgets observers and commands, and comes back with
one boot more.  Chance comes from a seed and time from outside.
"""

from decimal import Decimal

from hil.core.instant import Instant, earliest
from hil.core.signal import Validity, Value
from hil.nodes.model import Model
from hil.nodes.noise import Noise
from hil.nodes.settings import Settings
from hil.wire.coap.code import Code
from hil.wire.coap.description import Coap, Part, Resource, Target
from hil.wire.coap.number import Unreadable
from hil.wire.coap.parameters import Parameters
from hil.wire.coap.payload import open_payload
from hil.wire.coap.resource import Reply, Request
from hil.wire.coap.resource import Resource as Served
from hil.wire.coap.server import Server
from hil.wire.coap.value import read_part
from hil.wire.coap.writing import Entry, write, written
from hil.wire.rack import Envelope, Node

Path = tuple[str, ...]


class CoapNode:
    """The machine of one node that speaks CoAP."""

    def __init__(
        self,
        node: Node,
        coap: Coap,
        model: Model,
        settings: Settings,
        noise: Noise,
        start: Instant,
    ) -> None:
        """Power up."""
        self.node, self.model = node, model
        self.outbox: list[Envelope] = []
        self._coap, self._noise = coap, noise
        self._latency = settings.duration("fastest-answer"), settings.duration("slowest-answer")
        self._beat = settings.duration("report-every")
        self._boot_time = settings.duration("boot-time")
        self._signals = {signal.name: signal for signal in node.signals}
        self._facts = {"serial": node.identity.serial, "firmware": settings.text("firmware")}
        self._read: dict[Path, list[Resource]] = {}
        for resource in coap.resources:
            self._read.setdefault(resource.place.path, []).append(resource)
        self._put: dict[Path, list[tuple[str, Target]]] = {}
        for name, target in coap.targets.items():
            self._put.setdefault(target.place.path, []).append((name, target))
        self._boots, self._booted_at = 1, start
        self._down_until: Instant | None = None
        self._restarting = False
        self._shown: dict[Path, list[list[Value | None]]] = {}
        self._next_beat: Instant | None = None
        self._server = self._power_up(start)
        model.start(start)

    def rehearse(self) -> None:
        """Write every payload once.  Raises WireError where a value does not fit."""
        for resource in self._coap.resources:
            self._payload(resource, self._booted_at)

    @property
    def settled(self) -> bool:
        """Whether it has nothing to find out about other nodes before it works as it should."""
        return True

    @property
    def boots(self) -> int:
        """How often it has booted."""
        return self._boots

    # --- the machine ---------------------------------------------------------------------------

    def receive(self, thing: Envelope, now: Instant) -> None:
        """Take a datagram, unless it is away."""
        if self._down_until is None:
            self._server.receive(thing.source, thing.payload, now)
            self._go_on(now)

    def tick(self, now: Instant) -> None:
        """Do what is due: requests in hand, movement, the beat, coming back after a restart."""
        if self._down_until is not None:
            if now < self._down_until:
                return
            self._boot(now)
        self._server.tick(now)
        self.model.tick(now)
        if self._next_beat is not None and now >= self._next_beat:
            self._next_beat = Instant(self._next_beat + self._beat)
            self.model.look(now)
            self._tell(now, anyway=True)
        self._go_on(now)

    def next_wakeup(self) -> Instant | None:
        """Return when something is due."""
        if self._down_until is not None:
            return self._down_until
        return earliest(self._server.next_wakeup(), self.model.next_wakeup(), self._next_beat)

    def take_sends(self) -> tuple[Envelope, ...]:
        """Hand over what is to be sent."""
        sends = tuple(self.outbox)
        self.outbox.clear()
        return sends

    def _go_on(self, now: Instant) -> None:
        """Tell what has changed, send what is to be sent, and go away after a restart's answer."""
        self._tell(now)
        for peer, payload in self._server.take_sends():
            self.outbox.append(Envelope(self.node.address, peer, payload))
        if self._restarting:
            self._go_down(now)
        elif not any(self._server.observers(path) for path in self._read):
            self._next_beat = None
        elif self._next_beat is None:
            self._next_beat = Instant(now + self._beat)

    # --- resources -----------------------------------------------------------------------------

    def _power_up(self, now: Instant) -> Server:
        """Return a server that knows nobody."""
        noise = self._noise
        paths = dict.fromkeys((*self._read, *self._put))
        return Server(
            [self._serve(path) for path in paths],
            now,
            first_message_id=noise.word() & 0xFFFF,
            parameters=Parameters(
                ack_timeout=self._coap.ack_timeout,
                max_retransmit=self._coap.retransmissions,
                seed=noise.word(),
            ),
        )

    def _serve(self, path: Path) -> Served:
        reads, puts = self._read.get(path, []), self._put.get(path, [])
        methods = {Code.GET} if reads else set()
        return Served(
            path=path,
            answer=self._answer,
            methods=frozenset(methods | ({Code.PUT} if puts else set())),
            offers=tuple(resource.format.number for resource in reads),
            takes=tuple(dict.fromkeys(target.format.number for _, target in puts)),
            observable=any(resource.observe for resource in reads),
            delay=self._noise.between(*self._latency),
        )

    def _answer(self, request: Request) -> Reply:
        if request.method == Code.PUT:
            return self._take(request)
        reads = self._read[request.path]
        wanted = [one for one in reads if one.format.number == request.accept]
        resource = (wanted or reads)[0]
        self.model.look(request.at)
        payload = self._payload(resource, request.at)
        return Reply(Code.CONTENT, payload, resource.format.number)

    def _payload(self, resource: Resource, now: Instant) -> bytes:
        entries: list[tuple[Part, Entry | None]] = []
        for name, part in resource.signals.items():
            value = self.model.values[name]
            entries.append((part, None if value is None else self._written(name, value, part)))
        for name, part in resource.facts.items():
            entries.append((part, self._fact(name, now)))
        return write(entries, resource.format, f"urn:dev:ops:32473-{self._facts['serial']}:")

    def _written(self, name: str, value: Value, part: Part) -> Entry:
        return written(value, part, self._signals[name], self.node.encodings[name])

    def _fact(self, name: str, now: Instant) -> Entry:
        if name == "boots":
            return Decimal(self._boots)
        if name == "uptime":
            return Decimal((now - self._booted_at) // self._coap.tick)
        return self._facts[name]

    def _take(self, request: Request) -> Reply:
        """Do what a payload says.

        Several commands may share a path, each a part of the payload; those that are there are done.
        """
        commands: list[tuple[str, Value]] = []
        for name, target in self._put[request.path]:
            try:
                content = open_payload(request.payload, target.format)
            except Unreadable as error:
                return Reply(Code.BAD_REQUEST, f"payload {error}".encode())
            encoding = self.node.encodings[name]
            found = read_part(content, target.part, self._signals[name], encoding)
            if found.value is not None and found.validity is Validity.VALID:
                commands.append((name, found.value))
            elif len(self._put[request.path]) == 1:
                return Reply(Code.BAD_REQUEST, found.note.encode())
        if not commands:
            return Reply(Code.BAD_REQUEST, b"nothing in it can be set")
        for name, value in commands:
            self.model.drive(name, value, request.at)
            if name == "power" and value == "restart":
                self._restarting = True
        return Reply(Code.CHANGED)

    # --- telling -------------------------------------------------------------------------------

    def _tell(self, now: Instant, anyway: bool = False) -> None:
        """Tell observers of what has changed; at a beat of everything."""
        for path, resources in self._read.items():
            shown = [[self.model.values[name] for name in one.signals] for one in resources]
            if anyway or shown != self._shown.get(path):
                self._shown[path] = shown
                self._server.changed(path, now)

    # --- restart -------------------------------------------------------------------------------

    def _go_down(self, now: Instant) -> None:
        self._restarting = False
        self._down_until = Instant(now + self._boot_time)
        self._next_beat = None

    def _boot(self, now: Instant) -> None:
        self._down_until = None
        self._boots += 1
        self._booted_at = now
        self._shown.clear()
        self._server = self._power_up(now)
        self.model.boot(now)
