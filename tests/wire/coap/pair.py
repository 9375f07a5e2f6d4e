"""An endpoint and a server with a medium between them that loses, repeats and delays on demand.

All in virtual time.  `fate(number, octets)` says what becomes of each datagram, counted from 0
over both ways: the delays of its copies; an empty tuple loses it.
"""

from heapq import heappop, heappush

from hil.core.instant import MILLISECOND, SECOND, Instant, earliest
from hil.wire.coap.code import Code
from hil.wire.coap.endpoint import Ask, Endpoint
from hil.wire.coap.message import decode, encode
from hil.wire.coap.server import Reply, Resource, Server
from hil.wire.rack import Address

TOOL = Address("127.0.0.1", 40_000)
LATENCY = 1 * MILLISECOND


def seconds(count):
    return Instant(int(count * SECOND))


def plain(number, octets):
    return (LATENCY,)


def ask(*path, until=3600, **more):
    return Ask(path=path, until=seconds(until), **more)


def endpoint(first_message_id=0x1234, first_token=0xA1, **more):
    return Endpoint(Instant(0), first_message_id=first_message_id, first_token=first_token, **more)


class Store:
    """The resources that tests ask for, and how often each was really asked."""

    def __init__(self, text="20.3", slow=3 * SECOND):
        self.text = text
        self.stored = b""
        self.asked = []
        self.big = b"".join(b"%05d " % number for number in range(500))
        get, put, post = Code.GET, Code.PUT, Code.POST
        self.resources = [
            Resource(
                path=("temperature",),
                answer=self.temperature,
                observable=True,
                offers=(0,),
                attributes=(("rt", "temperature-c"), ("if", "sensor")),
            ),
            Resource(path=("big",), answer=self.large, observable=True),
            Resource(path=("slow",), answer=self.temperature, delay=slow),
            Resource(path=("store",), answer=self.store, methods=frozenset({get, put})),
            Resource(path=("soap",), answer=self.soap, methods=frozenset({post})),
        ]

    def temperature(self, request):
        self.asked.append("temperature")
        return Reply(payload=self.text.encode(), content_format=0, max_age=15)

    def large(self, request):
        self.asked.append("big")
        return Reply(payload=self.big, max_age=15)

    def store(self, request):
        self.asked.append(("store", request.method))
        if request.method == Code.GET:
            return Reply(payload=self.stored)
        self.stored = request.payload
        return Reply(Code.CHANGED)

    def soap(self, request):
        self.asked.append(("soap", len(request.payload)))
        return Reply(Code.CHANGED, payload=request.payload[::-1])


class Pair:
    """Both sides and the medium; `log` holds every datagram that was sent, with its instant."""

    def __init__(self, store=None, fate=plain, client=None, first_message_id=0x7001, **server):
        self.store = store or Store()
        self.endpoint = client or endpoint()
        self.server = Server(
            self.store.resources, Instant(0), first_message_id=first_message_id, **server
        )
        self.fate = fate
        self.now = Instant(0)
        self.events = []
        self.log = []
        self._flying = []
        self._count = 0

    def ask(self, *path, **more):
        handle = self.endpoint.ask(ask(*path, **more), self.now)
        self._take()
        return handle

    def change(self, text, path=("temperature",)):
        self.store.text = text
        self.server.changed(path, self.now)
        self._take()

    def run(self, until):
        """Let time pass up to an instant; arrivals come before timers."""
        until = seconds(until)
        self._take()
        while True:
            arrival = self._flying[0][0] if self._flying else None
            wakeup = earliest(self.endpoint.next_wakeup(), self.server.next_wakeup())
            following = earliest(arrival, wakeup)
            if following is None or following > until:
                break
            self.now = following
            if arrival == following:
                _, _, to_server, octets = heappop(self._flying)
                if to_server:
                    self.server.receive(TOOL, octets, self.now)
                else:
                    self.endpoint.receive(octets, self.now)
            else:
                self.endpoint.tick(self.now)
                self.server.tick(self.now)
            self._take()
        self.now = until
        return self.events

    def _take(self):
        for octets in self.endpoint.take_sends():
            self.endpoint.sent(octets, self.now)
            self._fly(True, octets)
        for peer, octets in self.server.take_sends():
            assert peer == TOOL
            self._fly(False, octets)
        self.events += self.endpoint.take_events()

    def _fly(self, to_server, octets):
        message = decode(octets)
        assert encode(message) == octets
        self.log.append((self.now, to_server, message))
        for delay in self.fate(self._count, octets):
            heappush(self._flying, (self.now + delay, len(self.log), to_server, octets))
        self._count += 1

    def of(self, kind):
        """Return the events of one class."""
        return [event for event in self.events if isinstance(event, kind)]
