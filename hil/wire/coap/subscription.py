"""Being kept informed of one resource (RFC 7641, the client's side).

    registering ──> informed <──> lapsed     Max-Age is over; 5 to 15 s later: register again
         │              │
         └──────────────┴──> leaving ──> over

The token stays the same from the first registration to the last, so that a node that still
knows the subscription does not get a second one (§3.1).
"""

from collections.abc import Callable
from dataclasses import replace

from hil.core.chance import Chance
from hil.core.instant import SECOND, Duration, Instant, after
from hil.wire.coap.ask import Ask
from hil.wire.coap.code import code_name, is_success
from hil.wire.coap.errand import Errand
from hil.wire.coap.event import (
    Answered,
    CoapEvent,
    Failed,
    Lapsed,
    Notified,
    Odd,
    Oddity,
    option_number,
)
from hil.wire.coap.exchange import Exchange, Exchanges, Purpose
from hil.wire.coap.freshness import Ordering
from hil.wire.coap.message import Message
from hil.wire.coap.option import Option, Options, Sifted, from_uint
from hil.wire.coap.parameters import DEFAULT_MAX_AGE, Parameters
from hil.wire.coap.transfer import Content
from hil.wire.timers import Timer, Timers

Say = Callable[[CoapEvent], None]
DEREGISTER = 1
"""The value of Observe that ends a subscription; 0 begins one (RFC 7641 §2)."""


class Subscription:
    """One subscription; `ended` is called when its token is free again."""

    def __init__(
        self,
        handle: int,
        ask: Ask,
        exchanges: Exchanges,
        timers: Timers,
        chance: Chance,
        parameters: Parameters,
        say: Say,
        ended: Callable[["Subscription"], None],
    ) -> None:
        self.handle = handle
        self.token = exchanges.fresh_token()
        exchanges.reserve(self.token)
        self._ask, self._exchanges, self._chance = ask, exchanges, chance
        self._parameters, self._say, self._ended = parameters, say, ended
        self._ordering = Ordering()
        self._sequence = 0
        self._registration: Errand | None = None
        self._fetching: Errand | None = None
        self._known = self._leaving = False
        self._lapse = Timer(timers, self._lapsed)
        self._renewal = Timer(timers, self._renew_due)

    # What the tool says

    def begin(self, now: Instant) -> None:
        """Register."""
        self._register(self._ask.until, Purpose.PLAIN, now)

    def renew(self, until: Instant, now: Instant) -> None:
        """Register again; nothing new where a registration is under way."""
        if self._registration is None and not self._leaving:
            self._renewal.clear()
            self._register(until, Purpose.RENEWAL, now)

    def cancel(self, now: Instant) -> None:
        """Deregister; where the node cannot know of the subscription, just forget it."""
        if self._leaving:
            return
        registration = self._registration
        unheard = registration is not None and not registration.transmissions
        self._rest(now)
        if unheard and not self._known:
            self._ended(self)
            return
        self._leaving = True
        leave = (Option.OBSERVE, from_uint(DEREGISTER))
        self._exchanges.begin(
            self,
            self._ask.method,
            ((*self._ask.options(), leave), b""),
            self._patience(now),
            now,
            token=self.token,
            purpose=Purpose.DEREGISTRATION,
        )

    def _register(self, until: Instant, purpose: Purpose, now: Instant) -> None:
        errand = Errand(self._ask, self._exchanges, self._parameters, until, self._registered)
        self._registration = errand
        errand.register(self.token, purpose, now)

    def _patience(self, now: Instant) -> Instant:
        """Return until when what nobody gave a deadline for is waited for."""
        return after(now, self._parameters.exchange_lifetime)

    def _rest(self, now: Instant) -> None:
        """Stop everything that is under way."""
        self._lapse.clear()
        self._renewal.clear()
        for errand in (self._registration, self._fetching):
            if errand is not None:
                errand.drop(now)
        self._registration = self._fetching = None

    # What the node says

    def notified(self, message: Message, sifted: Sifted, raw: bytes, at: Instant) -> None:
        """Take in a message of this token that answers no request."""
        if self._leaving:
            return
        number = sifted.number(Option.OBSERVE)
        if number is None or not is_success(message.code):
            self._end(Content(message.code, message.options, message.payload), None, at)
            return
        objection = self._ordering.take(number, at)
        if objection:
            self._say(Odd(at=at, text=objection, raw=raw, what=Oddity.STALE))
            self._tell(Content(message.code, message.options, message.payload), number, at, False)
            return
        self._known = True
        registration = self._registration
        if registration is not None and registration.exchanges > 1:
            registration.drop(at)  # it is fetching the rest of an older representation
            self._registration = None
        if self._fetching is not None:
            self._fetching.drop(at)
        self._count_age(message.options, at)
        self._sequence = number
        ask = replace(self._ask, payload=b"", observe=False)
        self._fetching = errand = Errand(
            ask, self._exchanges, self._parameters, self._patience(at), self._fetched
        )
        errand.take(message, sifted, at)

    def refuse(self, why: str, at: Instant) -> None:
        """Learn that a notification had to be rejected, which ends the subscription."""
        self._rest(at)
        self._say(Failed(handle=self.handle, at=at, why=why, transmissions=0))
        self._ended(self)

    def heard(self, exchange: Exchange, message: Message, sifted: Sifted, at: Instant) -> None:
        """Learn that the node has deregistered the tool."""
        partial = Option.BLOCK2 in sifted.known
        payload = b"" if partial else message.payload
        transmission = exchange.transmission
        self._say(
            Answered(
                handle=self.handle,
                at=at,
                code=message.code,
                options=message.options,
                payload=payload,
                sent_at=at if transmission.sent_at is None else transmission.sent_at,
                transmissions=transmission.count,
            )
        )
        self._ended(self)

    def failed(self, exchange: Exchange, why: str, at: Instant) -> None:
        """Learn that the node has not confirmed that it deregistered the tool."""
        count = exchange.transmission.count
        self._say(Failed(handle=self.handle, at=at, why=why, transmissions=count))
        self._ended(self)

    # What comes of it

    def _registered(self, errand: Errand, result: Content | str, at: Instant) -> None:
        self._registration = None
        if isinstance(result, str):
            self._rest(at)
            count = errand.transmissions
            self._say(Failed(handle=self.handle, at=at, why=result, transmissions=count))
            self._ended(self)
            return
        number = option_number(result.options, Option.OBSERVE)
        if number is None or not is_success(result.code):
            self._end(result, errand, at)
            return
        self._known = True
        self._ordering.take(number, at, anew=True)
        self._count_age(result.options, at)
        self._tell(result, number, at, True, errand)

    def _fetched(self, errand: Errand, result: Content | str, at: Instant) -> None:
        self._fetching = None
        if isinstance(result, str) or not is_success(result.code):
            why = result if isinstance(result, str) else code_name(result.code)
            text = f"notification {self._sequence} could not be fetched whole: {why}"
            self._say(Odd(at=at, text=text, raw=b"", what=Oddity.INCOMPLETE))
            return
        self._tell(result, self._sequence, at, True)

    def _tell(
        self,
        content: Content,
        number: int,
        at: Instant,
        fresh: bool,
        errand: Errand | None = None,
    ) -> None:
        self._say(
            Notified(
                handle=self.handle,
                at=at,
                code=content.code,
                options=content.options,
                payload=content.payload,
                sequence=number,
                fresh=fresh,
                solicited=errand is not None,
                sent_at=errand.sent_at if errand is not None else None,
                transmissions=errand.transmissions if errand is not None else 0,
            )
        )

    def _end(self, content: Content, errand: Errand | None, at: Instant) -> None:
        """End with an answer after which the node sends nothing more by itself (§3.2)."""
        self._rest(at)
        sent_at = errand.sent_at if errand is not None else None
        self._say(
            Answered(
                handle=self.handle,
                at=at,
                code=content.code,
                options=content.options,
                payload=content.payload,
                sent_at=at if sent_at is None else sent_at,
                transmissions=errand.transmissions if errand is not None else 0,
                exchanges=errand.exchanges if errand is not None else 0,
            )
        )
        self._ended(self)

    def _count_age(self, options: Options, at: Instant) -> None:
        """Be woken when the representation has become too old (RFC 7641 §3.3.1)."""
        given = option_number(options, Option.MAX_AGE)
        age = DEFAULT_MAX_AGE if given is None else given
        self._renewal.clear()
        self._lapse.set(after(at, Duration(age * SECOND)))

    def _lapsed(self, due: Instant, now: Instant) -> None:
        soonest, latest = self._parameters.renewal
        wait = Duration(soonest + self._chance.below(latest - soonest + 1))
        renewal = after(due, wait)
        self._say(Lapsed(handle=self.handle, at=due, renewal=renewal))
        self._renewal.set(renewal)

    def _renew_due(self, due: Instant, now: Instant) -> None:
        self.renew(self._patience(now), now)
