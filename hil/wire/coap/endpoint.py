"""The tool's side of CoAP with one node: a machine (RFC 7252, RFC 7641, RFC 7959).

    ask ──> Errand or Subscription ──> Exchange ──> Transmission ──> datagrams
                                          ^
    datagrams ──> Incoming ───────────────┴──> Subscription

Nothing here knows a clock or chance: instants are handed in, and the first message id, the first
token and the seed of the back-off are given.
"""

from hil.core.chance import Chance
from hil.core.instant import Instant
from hil.wire.coap.ask import Ask
from hil.wire.coap.code import Code
from hil.wire.coap.errand import Errand
from hil.wire.coap.event import Answered, CoapEvent, Failed, Lapsed, Notified, Odd, Oddity
from hil.wire.coap.exchange import Exchanges
from hil.wire.coap.incoming import Incoming
from hil.wire.coap.message_ids import MessageIds
from hil.wire.coap.parameters import Parameters
from hil.wire.coap.ping import Ping
from hil.wire.coap.subscription import Subscription
from hil.wire.coap.transfer import Content
from hil.wire.coap.transmission import Transmitter
from hil.wire.timers import Timers

__all__ = [
    "Answered",
    "Ask",
    "CoapEvent",
    "Endpoint",
    "Failed",
    "Lapsed",
    "Notified",
    "Odd",
    "Oddity",
    "Parameters",
]

_DEFAULT = Parameters()


class Endpoint:
    """Everything that is asked of one node, and everything it says.

    `first_message_id` and `first_token` should be drawn at random once per run: the node may
    remember those of the run before (RFC 7252 §4.4, §5.3.1).
    """

    def __init__(
        self,
        start: Instant,
        *,
        first_message_id: int,
        first_token: int,
        parameters: Parameters = _DEFAULT,
    ) -> None:
        self._parameters = parameters
        self._timers = Timers()
        self._chance = Chance(parameters.seed)
        self._sends: list[bytes] = []
        self._events: list[CoapEvent] = []
        ids = MessageIds(first_message_id, parameters.exchange_lifetime)
        self._transmitter = Transmitter(
            self._timers, ids, self._chance, parameters, self._sends.append
        )
        self._exchanges = Exchanges(self._transmitter, first_token, parameters.token_length)
        self._handles: dict[int, Errand | Subscription | Ping] = {}
        self._subscriptions: dict[bytes, Subscription] = {}
        self._incoming = Incoming(
            self._exchanges,
            self._subscriptions,
            parameters,
            self._sends.append,
            self._events.append,
        )
        self._last_handle = 0

    # What is asked

    def ask(self, ask: Ask, now: Instant) -> int:
        """Ask something; return the handle by which the events name it."""
        handle = self._handle()
        if ask.until < now:
            self._fail(handle, "the deadline had passed before it was asked", now)
        elif ask.observe:
            subscription = Subscription(
                handle,
                ask,
                self._exchanges,
                self._timers,
                self._chance,
                self._parameters,
                self._events.append,
                self._unsubscribed,
            )
            self._handles[handle] = self._subscriptions[subscription.token] = subscription
            subscription.begin(now)
        else:
            errand = Errand(
                ask,
                self._exchanges,
                self._parameters,
                ask.until,
                lambda errand, result, at: self._done(handle, errand, result, at),
            )
            self._handles[handle] = errand
            errand.begin(now)
        return handle

    def ping(self, until: Instant, now: Instant) -> int:
        """See whether the node is there: Answered with code 0.00, or Failed (RFC 7252 §4.3)."""
        handle = self._handle()
        ping = Ping(
            self._transmitter, until, lambda ping, why, at: self._pinged(handle, ping, why, at)
        )
        self._handles[handle] = ping
        ping.begin(now)
        return handle

    def renew(self, handle: int, until: Instant, now: Instant) -> None:
        """Register a subscription again at once, as after a restart of the node."""
        subscription = self._handles.get(handle)
        if isinstance(subscription, Subscription):
            subscription.renew(until, now)

    def cancel(self, handle: int, now: Instant) -> None:
        """Want no answer any more: an ask is forgotten without an event.

        A subscription is deregistered and ends in Answered or Failed; in the meantime its
        notifications are acknowledged and not told.
        """
        thing = self._handles.get(handle)
        if isinstance(thing, Subscription):
            thing.cancel(now)
        elif thing is not None:
            del self._handles[handle]
            thing.drop(now)

    def sent(self, payload: bytes, at: Instant) -> None:
        """Learn when a datagram really left: latency and repetitions count from there."""
        self._transmitter.sent(payload, at)

    def receive(self, payload: bytes, now: Instant) -> None:
        """Take in one datagram of the peer; no octets whatever raise anything."""
        self._incoming.receive(payload, now)

    # Time, and what comes of it

    def tick(self, now: Instant) -> None:
        """Learn that time has reached `now`."""
        while self._timers.fire(now):
            pass

    def next_wakeup(self) -> Instant | None:
        """Return when something changes by itself; None when nothing will."""
        return self._timers.next()

    def take_sends(self) -> tuple[bytes, ...]:
        """Hand over the datagrams for the peer, and forget them."""
        sends = tuple(self._sends)
        self._sends.clear()
        return sends

    def take_events(self) -> list[CoapEvent]:
        """Hand over what became of what was asked, and forget it."""
        events = list(self._events)
        self._events.clear()
        return events

    def _handle(self) -> int:
        self._last_handle += 1
        return self._last_handle

    def _done(self, handle: int, errand: Errand, result: Content | str, at: Instant) -> None:
        del self._handles[handle]
        if isinstance(result, str):
            self._fail(handle, result, at, errand.transmissions)
            return
        self._events.append(
            Answered(
                handle=handle,
                at=at,
                code=result.code,
                options=result.options,
                payload=result.payload,
                sent_at=at if errand.sent_at is None else errand.sent_at,
                transmissions=errand.transmissions,
                exchanges=errand.exchanges,
            )
        )

    def _pinged(self, handle: int, ping: Ping, why: str, at: Instant) -> None:
        del self._handles[handle]
        if why:
            self._fail(handle, why, at, ping.transmission.count)
            return
        self._events.append(
            Answered(
                handle=handle,
                at=at,
                code=Code.EMPTY,
                options=(),
                payload=b"",
                sent_at=at if ping.transmission.sent_at is None else ping.transmission.sent_at,
                transmissions=ping.transmission.count,
            )
        )

    def _unsubscribed(self, subscription: Subscription) -> None:
        del self._handles[subscription.handle]
        del self._subscriptions[subscription.token]
        self._exchanges.release(subscription.token)

    def _fail(self, handle: int, why: str, at: Instant, transmissions: int = 0) -> None:
        self._events.append(Failed(handle=handle, at=at, why=why, transmissions=transmissions))
