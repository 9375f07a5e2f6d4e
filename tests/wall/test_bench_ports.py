"""The wall bench on real sockets: what arrives, what does not, and whose it is."""

import select
import socket
import struct
import time

import pytest
from bench.small import ms, packet, rack

from hil.bench.bench import Refusal
from hil.bench.port import Port
from hil.bench.rig import open_wall
from hil.bench.wall import WallBench
from hil.core.error import BenchError
from hil.core.instant import Instant
from hil.core.observation import HostNote, HostTrouble
from hil.wire.link import Packet
from hil.wire.rack import Address

pytestmark = pytest.mark.wall

PATIENT = 60_000_000_000
"""A bound of lateness that no busy computer breaks: lateness is another file's matter."""


class Peer:
    """A node made of one plain socket."""

    def __init__(self, host="127.0.0.1"):
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        self.socket = socket.socket(family, socket.SOCK_DGRAM)
        self.socket.bind((host, 0))
        self.socket.settimeout(5)
        self.address = Address(*self.socket.getsockname()[:2])

    def send(self, payload, to):
        self.socket.sendto(payload, tuple(to))


@pytest.fixture
def peers():
    made = [Peer(), Peer()]
    yield made
    for peer in made:
        peer.socket.close()


@pytest.fixture
def bench(peers):
    opened = WallBench(rack(*(peer.address for peer in peers), late=PATIENT))
    yield opened
    opened.close()


def closed_address():
    """Return an address nobody listens on."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        return Address(*taken.getsockname())


def gather(bench, count, limit=5_000):
    """Wait until so many arrivals have come; the horizon's promise is checked on the way."""
    floor, found = 0, []
    deadline = Instant(bench.now() + ms(limit))
    while len(found) < count and floor < deadline:
        arrivals, horizon = bench.wait(deadline)
        instants = [arrival.at for arrival in arrivals]
        assert instants == sorted(instants)
        assert all(floor <= at <= horizon for at in instants)
        found += arrivals
        floor = horizon
    return found


def test_a_datagram_goes_there_and_back_with_the_kernels_stamp(bench, peers):
    before = bench.now()
    sent = bench.send(packet(b"hello", "n1", peers[0].address))
    payload, source = peers[0].socket.recvfrom(100)
    answering = time.monotonic_ns()
    peers[0].send(b"world", source)
    answered = time.monotonic_ns()
    select.select((), (), (), 0.05)  # it lies there for 50 ms before anybody reads it

    [arrival] = gather(bench, 1)

    assert (b"hello", bench.local["n1"]) == (payload, source)
    assert packet(b"world", "n1", peers[0].address) == arrival.thing
    assert bench.stamps == "kernel"
    assert before <= sent <= answering
    assert answering - 100_000 <= arrival.at <= answered + 10_000_000


def test_arrivals_of_two_nodes_come_in_the_order_of_their_instants(bench, peers):
    for count in range(20):
        peer, name = peers[count % 2], f"n{count % 2 + 1}"
        peer.send(b"%d" % count, bench.local[name])

    arrivals = gather(bench, 20)

    assert [b"%d" % count for count in range(20)] == [arrival.thing.payload for arrival in arrivals]


def test_waiting_reaches_the_instant_and_not_much_more(bench):
    until = Instant(bench.now() + ms(20))
    arrivals, horizon = bench.wait(until)

    assert arrivals == []
    assert until <= horizon < until + ms(50)


def test_a_closed_port_is_news_about_that_node_and_no_other(peers):
    # the port of node 1 is closed; request 2 to another node is not affected.
    closed = closed_address()
    bench = WallBench(rack(closed, peers[1].address, late=PATIENT))
    bench.send(packet(b"request 1", "n1", closed))
    bench.send(packet(b"request 2", "n2", peers[1].address))
    peers[1].send(b"answer 2", peers[1].socket.recvfrom(100)[1])
    started = bench.now()

    arrivals = gather(bench, 2)
    bench.close()

    refusals = [one.thing for one in arrivals if isinstance(one.thing, Refusal)]
    packets = [one.thing for one in arrivals if isinstance(one.thing, Packet)]
    assert [(heard.node, heard.payload) for heard in packets] == [("n2", b"answer 2")]
    assert [refusal.node for refusal in refusals] == ["n1"]
    assert f"port {closed.port} of 127.0.0.1 is closed" in refusals[0].text
    assert bench.now() - started < ms(2_000)  # well before any time-out


def test_every_request_to_a_closed_port_is_refused_and_the_node_can_come_back(peers):
    closed = closed_address()
    bench = WallBench(rack(closed, late=PATIENT))
    for _ in range(5):  # without reading in between: each send meets the error of the one before
        bench.send(packet(b"?", "n1", closed))
    refused = gather(bench, 5)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as node:
        node.bind(tuple(closed))
        node.settimeout(5)
        bench.send(packet(b"again", "n1", closed))
        payload, source = node.recvfrom(100)
        node.sendto(b"here I am", source)
        [arrival] = gather(bench, 1)
    bench.close()

    assert [Refusal] * 5 == [type(one.thing) for one in refused]
    assert (payload, arrival.thing.payload) == (b"again", b"here I am")


def test_a_foreign_source_is_seen_as_what_it_is(bench, peers):
    stranger = Peer("127.0.0.2")
    stranger.send(b"not the node", bench.local["n1"])

    [arrival] = gather(bench, 1)
    stranger.socket.close()

    assert Packet("n1", stranger.address, b"not the node") == arrival.thing


@pytest.mark.parametrize("size", [0, 1, 11, 12, 3_012, 65_507])
def test_a_datagram_of_any_size_arrives_whole(bench, peers, size):
    # 65,507 octets are the largest over IPv4: 65,535 less 20 (RFC 791) and 8 (RFC 768).
    payload = bytes(octet & 0xFF for octet in range(size))
    peers[0].send(payload, bench.local["n1"])

    [arrival] = gather(bench, 1)

    assert payload == arrival.thing.payload


def test_a_payload_too_large_to_send_is_news_and_no_exception(bench, peers):
    bench.send(packet(bytes(65_508), "n1", peers[0].address))

    [arrival] = gather(bench, 1)

    assert isinstance(arrival.thing, Refusal)
    assert "message too long" in arrival.thing.text


def test_a_burst_is_counted_whole_or_the_loss_is_told_exactly(peers):
    # 3000 datagrams while the tool does something else, with a small receive buffer.
    bench = WallBench(rack(*(peer.address for peer in peers), late=PATIENT), receive_buffer=20_000)
    for count in range(3_000):
        peers[0].send(struct.pack(">I", count) + bytes(20), bench.local["n1"])

    found = gather(bench, 3_000, limit=100)
    bench.close()

    notes = [one.thing for one in found if isinstance(one.thing, HostNote)]
    packets = [one.thing for one in found if isinstance(one.thing, Packet)]
    assert 0 < len(packets) < 3_000
    assert [note.trouble for note in notes] == [HostTrouble.DROPPED]
    assert len(packets) + notes[0].amount == 3_000
    assert found[0].thing is notes[0]  # before anything that could be judged without it
    assert f"dropped {notes[0].amount} datagrams from n1" in notes[0].text
    assert "receive buffer is 40000 octets" in notes[0].text  # socket(7): the kernel doubles it


def test_a_loss_is_told_before_the_deadline_that_waits_for_what_was_lost(peers):
    bench = WallBench(rack(*(peer.address for peer in peers), late=PATIENT), receive_buffer=2_000)
    bench.wait(Instant(bench.now() + ms(1)))
    for count in range(100):
        peers[0].send(struct.pack(">I", count) + bytes(1_000), bench.local["n1"])
    deadline = Instant(bench.now() + ms(10))

    arrivals, horizon = bench.wait(deadline)
    while horizon < deadline:
        more, horizon = bench.wait(deadline)
        arrivals += more
    bench.close()

    assert [
        arrival.thing.trouble for arrival in arrivals if isinstance(arrival.thing, HostNote)
    ] == [HostTrouble.DROPPED]


def test_the_default_buffer_takes_a_burst_of_three_thousand(bench, peers):
    for count in range(3_000):
        peers[0].send(struct.pack(">I", count) + bytes(20), bench.local["n1"])

    found = gather(bench, 3_000, limit=500)
    things = [arrival.thing for arrival in found]
    told = sum(thing.amount for thing in things if isinstance(thing, HostNote))

    assert told + sum(isinstance(thing, Packet) for thing in things) == 3_000
    assert bench.receive_buffer["n1"] > 0


def test_an_endless_stream_cannot_hold_the_bench(bench, peers):
    stream = Peer()
    deadline = Instant(bench.now() + ms(50))
    horizon, waits = 0, 0
    while horizon < deadline:
        for _ in range(200):  # more each time than what one wait reads at once
            stream.send(b"x" * 10, bench.local["n2"])
        _, horizon = bench.wait(deadline)
        waits += 1
    stream.socket.close()

    assert waits > 1


def test_ipv6_works_and_a_closed_port_is_told_there_too():
    if not socket.has_ipv6:
        pytest.skip("this computer has no IPv6")
    peer = Peer("::1")
    closed = Address("::1", peer.address.port + 1 if peer.address.port < 65_535 else 1)
    bench = WallBench(rack(peer.address, closed, host="::1", late=PATIENT))
    bench.send(packet(b"hello", "n1", peer.address))
    bench.send(packet(b"hello", "n2", closed))
    peer.send(b"world", peer.socket.recvfrom(100)[1][:2])

    things = {arrival.thing.node: arrival.thing for arrival in gather(bench, 2)}
    bench.close()
    peer.socket.close()

    assert packet(b"world", "n1", peer.address) == things["n1"]
    assert isinstance(things["n2"], Refusal)
    assert "is closed" in things["n2"].text


def test_a_node_of_the_other_kind_of_address_is_refused():
    with pytest.raises(BenchError, match="one is an IPv4 address, the other an IPv6 address"):
        WallBench(rack(Address("::1", 4_000)))


def test_a_name_in_the_place_of_an_address_is_refused():
    with pytest.raises(BenchError, match=r"'louvres\.local' is no IP address"):
        WallBench(rack(Address("louvres.local", 4_000)))


def test_a_host_address_that_is_not_here_is_refused_after_counted_attempts():
    with pytest.raises(BenchError, match=r"203\.0\.113\.9 is not an address of interface lo"):
        open_wall(rack(Address("127.0.0.1", 4_000), host="203.0.113.9"), attempts=2)


def test_no_socket_is_shared():
    # a second reader of the port would take half of the datagrams: never SO_REUSEADDR or SO_REUSEPORT.
    first = Port("n1", "127.0.0.1")
    with pytest.raises(OSError, match="in use"):
        Port("n1", "127.0.0.1", first.local.port)
    options = [socket.SO_REUSEADDR, socket.SO_REUSEPORT]
    assert [first.socket.getsockopt(socket.SOL_SOCKET, option) for option in options] == [0, 0]
    first.close()


def test_a_hundred_answers_from_before_the_wait_are_all_seen(bench, peers):
    # the answer is there before anybody waits for it, a hundred times.
    for count in range(100):
        bench.send(packet(b"%d" % count, "n1", peers[0].address))
        payload, source = peers[0].socket.recvfrom(100)
        peers[0].send(payload, source)
        start = time.monotonic_ns()
        while time.monotonic_ns() - start < 200_000:
            pass  # somebody computes

        [arrival] = gather(bench, 1)
        assert b"%d" % count == arrival.thing.payload
