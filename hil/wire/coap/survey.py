"""What is read of a CoAP node: registrations, polls, and what comes of them.

    identity first    nothing else is read before the node has told who it is
    observed          registered once, anew at every `renew` and at once after a reboot
    polled            GET at every `poll`, one on its way at a time
    neither           GET at every `renew`

When was the quantity so?  What was asked for shows a moment between the request leaving and the
answer's arrival; a notification shows the moment of its arrival.
"""

from functools import partial

from hil.core.instant import Duration, Instant
from hil.core.observation import NodeTrouble
from hil.wire.coap.ask import Ask
from hil.wire.coap.code import code_name, is_success
from hil.wire.coap.description import Coap, Resource
from hil.wire.coap.desk import Desk
from hil.wire.coap.event import Answered, Failed, Lapsed, Notified
from hil.wire.coap.introduction import Introduction
from hil.wire.coap.life import Life
from hil.wire.coap.payload import Content
from hil.wire.coap.reading import Reading
from hil.wire.rack import Node
from hil.wire.reception import Say
from hil.wire.timers import Timer, Timers

Outcome = Answered | Notified | Failed | Lapsed


class Survey:
    """Reads the resources of one node; `raw` is the datagram that is being taken in."""

    def __init__(
        self, node: Node, coap: Coap, desk: Desk, timers: Timers, say: Say, start: Instant
    ) -> None:
        self.raw = b""
        self._node, self._coap, self._desk = node, coap, desk
        self._life = Life(node, coap, say)
        self.track = self._life.track
        told = frozenset(name for resource in coap.resources for name in resource.facts)
        self._introduction = Introduction(node, told, timers, say, self._introduce)
        self._readings = [Reading(resource, node, timers, say) for resource in coap.resources]
        self._begun = False
        self._renewing = Timer(timers, self._renew)
        for reading in self._readings:
            if reading.resource.poll is not None:
                reading.polling = Timer(timers, partial(self._poll, reading))
        if self._readings:
            self._renewing.set(start)

    def inquire(self, now: Instant) -> None:
        """Make sure who the node is; ends in Confirmed, in Unconfirmed, or in a conflict."""
        self._introduction.begin(now)

    def wonder(self, now: Instant) -> None:
        """Ask whether the node is still in the same life: it was silent for a while."""
        for reading in self._readings:
            if _tells_life(reading.resource):
                self._get(reading, now)

    def break_off(self, now: Instant) -> None:
        """Give up what is on its way: nobody listens there."""
        for reading in self._readings:
            for handle in (reading.open, reading.subscription):
                if handle is not None:
                    self._desk.cancel(handle, now)
            reading.open = reading.subscription = None

    # --- asking --------------------------------------------------------------------------------

    def _renew(self, due: Instant, now: Instant) -> None:
        self._renewing.set(following(due, self._coap.renew, now))
        if self._life.unknown:
            self._introduce(frozenset(self._life.unknown), now)
        if self._begun or not self._life.unknown:
            self._ask_all(now)

    def _introduce(self, names: frozenset[str], now: Instant) -> None:
        """Ask for what tells these facts; without any, whether the node is there."""
        if not names and self._readings:
            first = self._readings[0].resource
            self._desk.ask(self._ask(first, now, False), self._there, now)
        elif not names:
            self._desk.ping(Instant(now + self._node.answer_within), self._there, now)
        for reading in self._readings:
            if not names.isdisjoint(reading.resource.facts):
                self._get(reading, now)

    def _ask_all(self, now: Instant) -> None:
        """Register, or register again, and read what is not asked for otherwise."""
        begun, self._begun = self._begun, True
        for reading in self._readings:
            resource = reading.resource
            if resource.observe:
                self._register(reading, now)
            if reading.polling is not None:
                if not begun:
                    self._poll(reading, now, now)
            elif not resource.observe and (resource.signals or _tells_life(resource)):
                self._get(reading, now)

    def _poll(self, reading: Reading, due: Instant, now: Instant) -> None:
        period = reading.resource.poll
        assert reading.polling is not None and period is not None
        reading.polling.set(following(due, period, now))
        self._get(reading, now)

    def _get(self, reading: Reading, now: Instant) -> None:
        """Ask for a representation, unless one is on its way already."""
        if reading.open is None:
            told = partial(self._answered, reading)
            reading.open = self._desk.ask(self._ask(reading.resource, now, False), told, now)

    def _register(self, reading: Reading, now: Instant) -> None:
        ask = self._ask(reading.resource, now, True)
        if reading.subscription is not None:
            self._desk.renew(reading.subscription, ask.until, now)
        else:
            told = partial(self._informed, reading)
            reading.subscription = self._desk.ask(ask, told, now)

    def _ask(self, resource: Resource, now: Instant, observe: bool) -> Ask:
        return Ask(
            path=resource.place.path,
            query=resource.place.query,
            accept=resource.format.number if self._coap.accept else None,
            observe=observe,
            confirmable=self._coap.confirmable,
            until=Instant(now + self._node.answer_within),
        )

    # --- being told ----------------------------------------------------------------------------

    def _there(self, event: Outcome, now: Instant) -> None:
        """Take any answer as a sign that the node is there."""
        if isinstance(event, Answered):
            self._introduction.hear({}, self._life.facts, event.at)

    def _answered(self, reading: Reading, event: Outcome, now: Instant) -> None:
        """Take what became of a GET."""
        reading.open = None
        if isinstance(event, Failed):
            self._lose(reading, event)
        elif isinstance(event, Answered):
            if event.transmissions > event.exchanges and not _tells_life(reading.resource):
                self.wonder(event.at)
            self._take(reading, event, event.sent_at)

    def _informed(self, reading: Reading, event: Outcome, now: Instant) -> None:
        """Take what became of a subscription."""
        place = reading.resource.place
        if isinstance(event, Notified):
            if event.fresh:
                asked = event.sent_at if event.solicited else None
                self._take(reading, event, asked)
        elif isinstance(event, Lapsed):
            text = f"nothing of {place} for as long as its last representation was good for"
            reading.complain(NodeTrouble.SUBSCRIPTION, event.at, text, self.raw)
        elif isinstance(event, Failed):
            reading.subscription = None
            self._lose(reading, event)
        else:
            reading.subscription = None
            self._take_unobserved(reading, event)

    def _take_unobserved(self, reading: Reading, event: Answered) -> None:
        """Take the answer of a node that does not keep anybody informed of the resource."""
        doubt = f"the node does not keep the tool informed of {reading.resource.place}"
        if is_success(event.code):
            text = f"{doubt}: {code_name(event.code)} came without Observe"
            reading.complain(NodeTrouble.SUBSCRIPTION, event.at, text, self.raw)
        self._take(reading, event, event.sent_at, "" if reading.polling is not None else doubt)

    def _lose(self, reading: Reading, event: Failed) -> None:
        self.track.lost += 1
        if not _tells_life(reading.resource):
            self.wonder(event.at)
        text = f"{reading.resource.place}: {event.why}"
        reading.complain(NodeTrouble.UNANSWERED, event.at, text, self.raw)

    def _take(
        self, reading: Reading, event: Answered | Notified, asked: Instant | None, doubt: str = ""
    ) -> None:
        """Take in a representation that was asked for at `asked`, or came by itself."""
        content = reading.content(event, self.raw)
        if content is None:
            return
        if not doubt:
            reading.be_content()
        if reading.resource.facts and not self._take_facts(reading, content, event.at, asked):
            return
        if self._life.unknown and not self._begun:
            return  # it has not told yet who it is
        since = event.at if asked is None else asked
        reading.report(content, since, event.at, self.raw, self.track.booted, doubt)

    def _take_facts(
        self, reading: Reading, content: Content, at: Instant, asked: Instant | None
    ) -> bool:
        """Take in what the node tells about itself; say whether it may be believed at all."""
        life = self._life
        facts = reading.facts(content, at, self.raw)
        told = life.take(facts, at, self.raw)
        if told.another:
            self._introduction.drop()
        if told.doubted:
            self._get(reading, at)
            return False
        if told.rebooted:
            self._meet_again(at)
        began = self._introduction.began
        if began is not None and asked is not None and not told.another:
            if asked >= began:
                self._introduction.hear(facts, life.facts, at)
            else:
                self._get(reading, at)  # what it told is from before the question
        if not life.unknown and not self._begun:
            self._ask_all(at)
        return True

    def _meet_again(self, at: Instant) -> None:
        """The node has rebooted: it knows no subscription any more, and must say who it is."""
        if self._life.unknown:
            self._introduce(frozenset(self._life.unknown), at)
        for reading in self._readings:
            if reading.resource.observe:
                self._register(reading, at)


def _tells_life(resource: Resource) -> bool:
    return "boots" in resource.facts or "uptime" in resource.facts


def following(due: Instant, period: Duration, now: Instant) -> Instant:
    """Return the next instant after `now` in the rhythm of `period`."""
    return Instant(due + period * ((now - due) // period + 1))
