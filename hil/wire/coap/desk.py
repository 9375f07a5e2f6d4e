"""The way to one node's endpoint: whoever asks is told what became of it.

    ask(…, told)  ──▶  endpoint  ──▶  packets
    told(event)   ◀──  endpoint  ◀──  receive(packet), sent(packet, at), timer

The endpoint's first numbers come from the instant at which it begins, so that a run does not take
up the numbers of the one before it (RFC 7252 §4.4), and a virtual run is the same every time.
"""

from collections import deque
from collections.abc import Callable
from zlib import crc32

from hil.core.instant import Instant
from hil.wire.coap.ask import Ask
from hil.wire.coap.endpoint import Endpoint
from hil.wire.coap.event import Answered, CoapEvent, Failed, Lapsed, Notified, Odd
from hil.wire.coap.message import Malformed, decode
from hil.wire.coap.parameters import Parameters
from hil.wire.rack import Node
from hil.wire.timers import Timer, Timers

Told = Callable[[Answered | Notified | Failed | Lapsed, Instant], None]
Send = Callable[[str, bytes, int | None], None]

NSTART = 64
"""Requests on their way at once.  RFC 7252 §4.7 has 1 for networks that others use, too; here a
stimulus may not wait for the answer to a poll."""

_REMEMBERED = 64


class Desk:
    """One node's endpoint, its timer, and who waits for what."""

    def __init__(
        self,
        node: Node,
        first: int,
        timers: Timers,
        send: Send,
        odd: Callable[[Odd], None],
        start: Instant,
    ) -> None:
        coap = node.coap
        assert coap is not None
        seed = crc32(f"{node.name} {first} {start}".encode())
        self._endpoint = Endpoint(
            start,
            first_message_id=seed >> 16,
            first_token=seed,
            parameters=Parameters(
                ack_timeout=coap.ack_timeout,
                max_retransmit=coap.retransmissions,
                nstart=NSTART,
                seed=seed,
            ),
        )
        self._node, self._send, self._odd = node.name, send, odd
        self._timer = Timer(timers, self._wake)
        self._told: dict[int, Told] = {}
        self._sent: deque[bytes] = deque(maxlen=_REMEMBERED)
        self._settling = False

    def ask(self, ask: Ask, told: Told, now: Instant, command: int | None = None) -> int:
        """Ask something; its first datagram carries the command's token, if it is one."""
        handle = self._endpoint.ask(ask, now)
        self._told[handle] = told
        self._settle(now, command)
        return handle

    def ping(self, until: Instant, told: Told, now: Instant) -> None:
        """Ask whether the node is there."""
        self._told[self._endpoint.ping(until, now)] = told
        self._settle(now)

    def renew(self, handle: int, until: Instant, now: Instant) -> None:
        """Register a subscription again."""
        self._endpoint.renew(handle, until, now)
        self._settle(now)

    def cancel(self, handle: int, now: Instant) -> None:
        """Want nothing more of it, and be told nothing more."""
        if self._told.pop(handle, None) is not None:
            self._endpoint.cancel(handle, now)
            self._settle(now)

    def receive(self, payload: bytes, now: Instant) -> None:
        """Take in one datagram of the node."""
        self._endpoint.receive(payload, now)
        self._settle(now)

    def sent(self, payload: bytes, at: Instant) -> None:
        """Learn when a datagram really left."""
        self._endpoint.sent(payload, at)

    def answers_us(self, payload: bytes) -> bool:
        """Say whether a datagram answers one of the last that were sent, by its numbers."""
        try:
            message = decode(payload)
        except Malformed:
            return False
        for octets in self._sent:
            asked = decode(octets)
            if asked.token and asked.token == message.token:
                return True
        return False

    def _wake(self, due: Instant, now: Instant) -> None:
        self._endpoint.tick(now)
        self._settle(now)

    def _settle(self, now: Instant, command: int | None = None) -> None:
        """Send what is to be sent and tell what has happened, until all is quiet."""
        for payload in self._endpoint.take_sends():
            self._sent.append(payload)
            self._send(self._node, payload, command)
            command = None
        if self._settling:
            return
        self._settling = True
        try:
            while events := self._endpoint.take_events():
                for event in events:
                    self._tell(event, now)
        finally:
            self._settling = False
        wakeup = self._endpoint.next_wakeup()
        if wakeup is None:
            self._timer.clear()
        else:
            self._timer.set(wakeup)

    def _tell(self, event: CoapEvent, now: Instant) -> None:
        if isinstance(event, Odd):
            self._odd(event)
            return
        told = self._told.get(event.handle)
        if isinstance(event, Answered | Failed):
            self._told.pop(event.handle, None)
        if told is not None:
            told(event, now)
