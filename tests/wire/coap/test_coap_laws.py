"""The laws of machines, for the endpoint and the server; and any octets whatever."""

from hypothesis import given, settings
from hypothesis import strategies as st
from laws import obey
from wire.coap.pair import Pair, Store, ask, endpoint

from hil.core.instant import SECOND, Duration, Instant
from hil.wire.coap.code import Code
from hil.wire.coap.message import Message, Type, encode
from hil.wire.coap.option import Option
from hil.wire.coap.server import Server
from hil.wire.rack import Address

CLIENT = Address("127.0.0.1", 50_000)


class Telling:
    """An endpoint that keeps its events, for comparing."""

    def __init__(self):
        self.machine = endpoint(0x1000, 0x01)
        self.told = []
        self.watched = self.machine.ask(ask("a", observe=True, until=100), Instant(0))
        self.machine.ask(ask("b", until=5), Instant(0))
        self.machine.ask(ask("c", until=90), Instant(0))
        self.machine.ask(ask("d", method=Code.PUT, payload=bytes(3000), until=90), Instant(0))

    def __getattr__(self, name):
        return getattr(self.machine, name)

    def receive(self, octets, now):
        self.machine.receive(octets, now)
        self.told += self.machine.take_events()

    def tick(self, now):
        self.machine.tick(now)
        self.told += self.machine.take_events()


class Serving:
    """A server behind the machine's plain shape: what arrives is (source, octets)."""

    def __init__(self):
        self.server = Server(
            Store(slow=Duration(SECOND)).resources, Instant(0), first_message_id=1, confirm_every=2
        )

    def receive(self, thing, now):
        if thing is None:
            self.server.changed(("temperature",), now)
        else:
            self.server.receive(CLIENT, thing, now)

    def __getattr__(self, name):
        return getattr(self.server, name)


def heard():
    """What a node says to the endpoint in a life with a few disturbances."""
    token = [bytes([0, 0, 0, number]) for number in range(8)]
    con, non, ack, rst = Type
    yield SECOND, Message(ack, Code.CONTENT, 0x1000, token[1], ((Option.OBSERVE, b"\1"),), b"1")
    yield 2 * SECOND, Message(con, Code.CONTENT, 7, token[1], ((Option.OBSERVE, b"\2"),), b"2")
    yield 2 * SECOND, Message(con, Code.CONTENT, 7, token[1], ((Option.OBSERVE, b"\2"),), b"2")
    yield 9 * SECOND, Message(ack, Code.EMPTY, 0x1002)
    yield 12 * SECOND, Message(non, Code.CONTENT, 8, token[3], (), b"3")
    yield 12 * SECOND, Message(ack, Code.CONTINUE, 0x1003, token[4], ((Option.BLOCK1, b"\x0e"),))
    yield 12 * SECOND, Message(rst, Code.EMPTY, 0x1004)
    yield 80 * SECOND, Message(non, Code.CONTENT, 9, token[1], ((Option.OBSERVE, b"\1"),), b"4")


def asked():
    """What clients say to the server."""
    token = b"\1"
    con, non, ack, _ = Type

    def get(number, path, kind=con, *options):
        return encode(Message(kind, Code.GET, number, token, ((11, path), *options)))

    yield 1, get(1, b"temperature", con, (Option.OBSERVE, b""))
    yield SECOND, None
    yield SECOND, get(2, b"slow")
    yield SECOND, get(3, b"slow", non)
    yield 2 * SECOND, None
    yield 2 * SECOND, get(2, b"slow")
    yield 3 * SECOND, None
    yield 4 * SECOND, encode(Message(ack, Code.EMPTY, 2))
    yield 9 * SECOND, get(4, b"big")


def test_the_endpoint_obeys_the_laws():
    things = sorted((at, encode(message)) for at, message in heard())

    obey(Telling, things, 300 * SECOND, lambda machine: machine.told)


def test_the_server_obeys_the_laws():
    obey(Serving, list(asked()), 300 * SECOND, lambda machine: machine.observers(("temperature",)))


octets = st.one_of(
    st.binary(max_size=40),
    st.sampled_from([encode(message) for _, message in heard()]),
    st.builds(
        lambda head, code, number, token, tail: bytes([head, code, 0x10, number]) + token + tail,
        st.sampled_from([0x44, 0x54, 0x64, 0x74, 0x40, 0x60]),
        st.sampled_from([0, 0x45, 0x5F, 0x84, 0x8D, 1]),
        st.integers(0, 8),
        st.sampled_from([bytes([0, 0, 0, number]) for number in range(1, 8)]),
        st.sampled_from(
            [
                b"",
                b"\xffx",
                b"\x61\x05\xffx",
                b"\xd1\x0a\x0e\xffx",
                b"\xd1\x0e\x0e",
                b"\xd1\x0a\x07",
            ]
        )
        | st.binary(max_size=8),
    ),
)
steps = st.lists(st.tuples(st.integers(0, 3 * SECOND), octets), max_size=25)


@given(steps)
@settings(max_examples=100, deadline=None)
def test_any_octets_leave_the_endpoint_lawful(made):
    at, things = 0, []
    for later, thing in made:
        at += later
        things.append((at, thing))

    obey(Telling, things, at + 400 * SECOND, lambda machine: machine.told)


requests = st.one_of(
    st.binary(max_size=40),
    st.sampled_from([thing for _, thing in asked() if thing]),
    st.builds(
        lambda head, code, number, path, tail: bytes([head, code, 0, number, 1]) + path + tail,
        st.sampled_from([0x41, 0x51, 0x61, 0x71]),
        st.sampled_from([0, 1, 2, 3, 4, 31, 0x45]),
        st.integers(0, 8),
        st.sampled_from(
            [b"\xb5store", b"\xb3big", b"\xb4soap", b"\xb4slow", b"\x60\x5btemperature"]
        ),
        st.sampled_from(
            [b"", b"\xffx", b"\xc1\x06\xffx", b"\xd1\x03\x08\xff" + bytes(16), b"\xc1\x16"]
        )
        | st.binary(max_size=8),
    ),
)


@given(st.lists(st.tuples(st.integers(0, 3 * SECOND), requests), max_size=25))
@settings(max_examples=100, deadline=None)
def test_any_octets_leave_the_server_lawful(made):
    at, things = 0, []
    for later, thing in made:
        at += later
        things.append((at, thing))

    obey(Serving, things, at + 400 * SECOND, lambda machine: machine.observers(("temperature",)))


def test_two_runs_with_the_same_chance_are_the_same():
    def run():
        pair = Pair(fate=lambda number, octets: () if number % 3 == 0 else (1_000_000,))
        pair.ask("temperature", observe=True)
        pair.ask("big")
        pair.run(200)
        return pair.log, pair.events

    assert run() == run()
