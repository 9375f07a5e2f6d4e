"""What the head unit knows of the other nodes, and how it commands them.

It talks to them as any tool would, through the rack's own layouts:

    listen   to the nodes whose readings it decides by; repeated every `renew`
    read     of the others, once a second, only to see that they are alive
    command  what it wants; repeated while unanswered, given up after some attempts

A peer that counts one boot more has forgotten everything: it is listened to again at once and
told again what it was told.  Readings during a peer's warm-up do not count.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from hil.core.instant import SECOND, Duration, Instant
from hil.core.signal import Kind, Value
from hil.nodes.sensor import nearest
from hil.wire.decoded import Decoded
from hil.wire.layout import Codec
from hil.wire.rack import Address, Carries, Envelope, Node, Role

ALIVE_EVERY = Duration(SECOND)
_ATTEMPTS = 5


@dataclass(slots=True)
class _Order:
    """A command under way."""

    signal: str
    payload: bytes
    again: Instant
    attempts: int = 1


@dataclass(slots=True)
class _Peer:
    """One other node as the head unit sees it."""

    node: Node
    listened: bool
    requests: tuple[Codec, ...]
    answers: tuple[Codec, ...]
    reading: Codec | None
    body: slice
    warmup: Duration
    next_ask: Instant
    heard: Instant
    last: bytes = b""
    boots: int | None = None
    silent: bool = False
    wanted: dict[str, Value] = field(default_factory=dict)
    orders: dict[int, _Order] = field(default_factory=dict)


class Peers:
    """The machine of all other nodes.

    `seen` is what their readings show, by `node.signal`; None where a node shows no measurement
    or has been silent for longer than `silence`.
    """

    def __init__(
        self,
        own: Address,
        nodes: Collection[Node],
        codecs: Mapping[str, Sequence[Codec]],
        listened: Collection[str],
        silence: Duration,
        start: Instant,
        outbox: list[Envelope],
    ) -> None:
        """Meet `nodes`, and put what is to be sent to them into `outbox`."""
        self._own = own
        self._silence = silence
        self._nodes = nodes
        self._codecs = codecs
        self._listened = listened
        self._request = 0
        self._outbox = outbox
        self.restart(start)

    def restart(self, now: Instant) -> None:
        """Begin again: ask everybody."""
        self.seen: dict[str, Value | None] = {}
        self._changed: set[str] = set()
        self._peers = {
            node.address: _make(node, self._codecs[node.name], node.name in self._listened, now)
            for node in self._nodes
        }
        self._by_name = {peer.node.name: peer for peer in self._peers.values()}
        self._due: Instant | None = now if self._peers else None

    # --- the machine ---------------------------------------------------------------------------

    def receive(self, thing: Envelope, now: Instant) -> bool:
        """Take a datagram; return whether it came from a peer as an answer or a reading."""
        peer = self._peers.get(thing.source)
        if peer is None:
            return False
        payload = thing.payload
        if payload[peer.body] == peer.last and peer.last and not peer.silent:
            peer.heard = now  # the same reading as before but for its number and time
            return True
        codec = peer.reading
        reading = codec.decode(payload) if codec is not None else None
        if reading is not None and reading.node in (None, peer.node.number):
            self._hear(peer, reading, payload, now)
            return True
        return self._take_answer(peer, payload)

    def tick(self, now: Instant) -> None:
        """Ask again, repeat what is unanswered, notice silence."""
        if self._due is None or now < self._due:
            return
        for peer in self._peers.values():
            if now >= peer.next_ask:
                self._ask(peer, now)
            if peer.orders:
                self._repeat(peer, now)
            if not peer.silent and peer.listened and now >= peer.heard + self._silence:
                self._lose(peer)
        self._plan()

    def next_wakeup(self) -> Instant | None:
        """Return when something is due."""
        return self._due

    @property
    def settled(self) -> bool:
        """Whether every peer it decides by was heard after its warm-up and no command is open."""
        heard = {path.partition(".")[0] for path in self.seen}
        peers = self._peers.values()
        return all(not p.orders and (not p.listened or p.node.name in heard) for p in peers)

    def take_sends(self) -> tuple[()]:
        """Return nothing: datagrams leave through the head unit's outbox."""
        return ()

    def take_changes(self) -> set[str] | None:
        """Hand over which signals have changed; None where none has."""
        if not self._changed:
            return None
        changed, self._changed = self._changed, set()
        return changed

    # --- commands ------------------------------------------------------------------------------

    def command(self, path: str, value: Value, now: Instant) -> None:
        """Command a peer's signal, unless that is what it was told last; no such node: nothing."""
        name, _, signal = path.partition(".")
        peer = self._by_name.get(name)
        if peer is None or signal not in peer.node.operations or peer.wanted.get(signal) == value:
            return
        peer.wanted[signal] = value
        self._order(peer, signal, value, now)
        self._plan()

    def forget(self, path: str) -> None:
        """Leave a signal to others: it will not be told again after a reboot."""
        name, _, signal = path.partition(".")
        if name in self._by_name:
            self._by_name[name].wanted.pop(signal, None)

    def _order(self, peer: _Peer, signal: str, value: Value, now: Instant) -> None:
        kind = next(known.kind for known in peer.node.signals if known.name == signal)
        codec = next((codec for codec in peer.requests if codec.suits(kind)), None)
        if codec is None:
            return
        for number in [number for number, old in peer.orders.items() if old.signal == signal]:
            del peer.orders[number]
        self._request = number = self._request % 0xFFFF + 1
        operation = peer.node.operations[signal]
        if isinstance(value, Decimal):
            value = nearest(peer.node.encodings[signal], float(value))
        payload = codec.encode(request=number, operation=operation, value=value)
        peer.orders[number] = _Order(signal, payload, Instant(now + peer.node.answer_within))
        self._send(peer, payload)

    def _repeat(self, peer: _Peer, now: Instant) -> None:
        for number, order in list(peer.orders.items()):
            if now < order.again:
                continue
            if order.attempts >= _ATTEMPTS:
                del peer.orders[number]
                continue
            order.attempts += 1
            order.again = Instant(now + peer.node.answer_within)
            self._send(peer, order.payload)

    def _take_answer(self, peer: _Peer, payload: bytes) -> bool:
        for codec in peer.answers:
            answer = codec.decode(payload)
            if answer is not None and answer.node in (None, peer.node.number):
                if answer.request in peer.orders:
                    del peer.orders[answer.request]
                    self._plan()
                return True
        return False

    # --- readings ------------------------------------------------------------------------------

    def _hear(self, peer: _Peer, reading: Decoded, payload: bytes, now: Instant) -> None:
        peer.heard = now
        if peer.silent:
            peer.silent = False
            self._plan()
        rebooted = peer.boots is not None and reading.boots != peer.boots
        peer.boots = reading.boots
        if rebooted:
            self._greet(peer, now)
        if reading.uptime is not None and reading.uptime < peer.warmup:
            peer.last = b""
            return
        peer.last = payload[peer.body]
        if not peer.listened:
            return
        for path, value, _, _ in reading.readings:
            if path not in self.seen or self.seen[path] != value:
                self.seen[path] = value
                self._changed.add(path)

    def _greet(self, peer: _Peer, now: Instant) -> None:
        """Meet a peer that has rebooted: it knows nothing any more."""
        self._ask(peer, now)
        peer.orders.clear()
        for signal, value in peer.wanted.items():
            self._order(peer, signal, value, now)
        self._plan()

    def _lose(self, peer: _Peer) -> None:
        """Give up a silent peer's values."""
        peer.silent = True
        for signal in peer.node.signals:
            path = f"{peer.node.name}.{signal.name}"
            if self.seen.get(path, "") is not None:
                self.seen[path] = None
                self._changed.add(path)

    def _ask(self, peer: _Peer, now: Instant) -> None:
        """Ask to be kept informed, or for one reading."""
        node = peer.node
        operation = node.listen if peer.listened and node.listen is not None else node.read
        peer.next_ask = Instant(
            now + ((node.renew or ALIVE_EVERY) if peer.listened else ALIVE_EVERY)
        )
        codec = next((codec for codec in peer.requests if codec.suits(Kind.NUMBER)), None)
        if operation is None or codec is None:
            return
        self._request = self._request % 0xFFFF + 1
        self._send(peer, codec.encode(request=self._request, operation=operation))

    def _send(self, peer: _Peer, payload: bytes) -> None:
        self._outbox.append(Envelope(self._own, peer.node.address, payload))

    def _plan(self) -> None:
        """Find out when the next thing is due."""
        due: list[Instant] = []
        for peer in self._peers.values():
            due += [peer.next_ask, *[order.again for order in peer.orders.values()]]
            if peer.listened and not peer.silent:
                due.append(Instant(peer.heard + self._silence))
        self._due = min(due, default=None)


def _make(node: Node, codecs: Sequence[Codec], listened: bool, now: Instant) -> _Peer:
    readings = _of_role(codecs, Role.READING)
    reading = readings[0] if len(readings) == 1 else None
    return _Peer(
        node=node,
        listened=listened,
        requests=_of_role(codecs, Role.REQUEST),
        answers=_of_role(codecs, Role.ANSWER),
        reading=reading,
        body=_body(reading),
        warmup=max((signal.warmup for signal in node.signals), default=Duration(0)),
        next_ask=now,
        heard=now,
    )


def _of_role(codecs: Sequence[Codec], role: Role) -> tuple[Codec, ...]:
    return tuple(codec for codec in codecs if codec.layout.role is role)


def _body(codec: Codec | None) -> slice:
    """Return what of a reading says something: between its number and time, and its check."""
    if codec is None:
        return slice(0, 0)
    counts = [codec.place(carries) for carries in (Carries.SEQUENCE, Carries.UPTIME)]
    begin = max((place.offset + place.size for place in counts if place is not None), default=0)
    check = codec.place(Carries.CRC)
    end = check.offset if check is not None else codec.size
    rest = [place.offset for place in codec.places if place not in counts and place is not check]
    telling = [offset for offset in rest if offset < begin]
    return slice(begin, end) if len(telling) <= 2 else slice(0, 0)  # kind and node number
