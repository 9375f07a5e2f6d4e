"""CoAP with programs nobody here wrote: Debian's coap-server and coap-client, and aiocoap.

A dissector that nobody here wrote either, tshark, reads what both sides of ours say.
"""

import re
import shutil
import struct
import subprocess
import sys
from pathlib import Path

import pytest
from wall.coap_node import LARGE
from wall.coap_shell import (
    CLIENTS,
    SERVERS,
    Client,
    Node,
    Proxy,
    aiocoap_node,
    libcoap,
    now,
    program,
    seed,
)
from wire.coap.pair import Pair, Store, endpoint, seconds

from hil.core.instant import MILLISECOND, SECOND, Duration
from hil.wire.coap.code import Code
from hil.wire.coap.endpoint import Answered, Failed, Notified, Odd, Parameters
from hil.wire.coap.link_format import parse
from hil.wire.coap.message import Type, decode, encode
from hil.wire.coap.option import Option
from hil.wire.coap.server import Server

pytestmark = pytest.mark.wall

HASTY = Parameters(ack_timeout=Duration(150 * MILLISECOND))
BODY = bytes(number * 7 % 251 for number in range(3000))


@pytest.fixture(scope="module", params=["libcoap", "aiocoap"])
def peer(request):
    """A node made of one of the two libraries: its name, and the port it listens at."""
    if request.param == "libcoap" and program(SERVERS) is None:
        pytest.skip("none of the coap-server programs (package libcoap3-bin) is installed")
    with libcoap() if request.param == "libcoap" else aiocoap_node() as foreign:
        yield request.param, foreign.port


@pytest.fixture
def client(peer):
    """Make clients of the peer; `lost` are the numbers of datagrams that a proxy loses."""
    opened = []

    def go(lost=None, **parameters):
        proxy = None if lost is None else Proxy(peer[1], lost)
        made = Client(peer[1], Parameters(**parameters) if parameters else HASTY, proxy)
        opened.extend([one for one in (made, proxy) if one is not None])
        return made

    yield go
    for one in opened:
        one.close()


STORE = {"libcoap": "example_data", "aiocoap": "store"}
TICKING = {"libcoap": "time", "aiocoap": "count"}
SLOW = {"libcoap": ("async", ("1",), b"done"), "aiocoap": ("slow", (), b"at last")}


def test_put_and_get(client, peer):
    made = client()
    put = made.get(STORE[peer[0]], method=Code.PUT, payload=b"20.3", content_format=0)
    got = made.get(STORE[peer[0]])

    assert put.code in (Code.CHANGED, Code.CREATED)
    assert (got.code, got.payload) == (Code.CONTENT, b"20.3")
    assert not any(isinstance(event, Odd) for event in made.events)


def test_what_is_not_there(client):
    assert client().get("no", "such", "thing").code == Code.NOT_FOUND


def test_a_non_confirmable_request(client, peer):
    answer = client().get(".well-known", "core", confirmable=False)

    assert (answer.code, answer.transmissions) == (Code.CONTENT, 1)


def test_discovery(client, peer):
    links = parse(client().get(".well-known", "core").payload.decode())
    [ticking] = [link for link in links if link.target == f"/{TICKING[peer[0]]}"]

    assert ticking.has("obs")


@pytest.mark.parametrize("exponent", [1, 6])
def test_a_large_body_there_and_back(client, peer, exponent):
    made = client(block_exponent=exponent, early=True)
    put = made.get(STORE[peer[0]], method=Code.PUT, payload=BODY)
    got = made.get(STORE[peer[0]])

    assert put.code in (Code.CHANGED, Code.CREATED)
    assert got.payload == BODY
    blocks = -(-len(BODY) // (16 << exponent))
    assert (put.exchanges, got.exchanges) == (blocks, blocks)


def test_being_kept_informed_and_no_more(client, peer):
    made = client()
    handle = made.ask(TICKING[peer[0]], observe=True)
    end, told = now() + 4 * SECOND, []
    while len(told) < 3 and now() < end:
        made.turn(0.1)
        told = [event for event in made.events if isinstance(event, Notified)]
    assert len(told) == 3
    assert all(event.fresh for event in told)
    assert len({event.payload for event in told}) >= 2  # one of them may come at once
    made.endpoint.cancel(handle, now())
    assert made.result(handle).code == Code.CONTENT
    count = len(made.events)
    made.during(0.3)
    assert len(made.events) == count


def test_a_separate_answer(client, peer):
    path, query, payload = SLOW[peer[0]]
    made = client(lost=())
    answer = made.get(path, query=query)
    made.during(0.1)
    messages = [decode(octets) for octets in made.proxy.log]

    assert answer.payload == payload
    kinds = [message.type.name for message in messages if message.code == Code.EMPTY]
    assert kinds == ["ACKNOWLEDGEMENT", "ACKNOWLEDGEMENT"]


# The request, the node's acknowledgement, its answer, our acknowledgement, lost in turn; the
# last two wait for the node's own time-out of 2 to 3 s, which one of the peers has to do.
@pytest.mark.parametrize(
    ("peer", "lost"),
    [("libcoap", 1), ("libcoap", 2), ("aiocoap", 0), ("aiocoap", 1), ("aiocoap", 3)],
    indirect=["peer"],
)
def test_a_separate_answer_with_a_lost_message(client, peer, lost):
    path, query, payload = SLOW[peer[0]]
    made = client(lost=(lost,))
    answer = made.get(path, query=query)
    assert answer.payload == payload
    if lost == 3:
        # The node repeats its answer, which is acknowledged again and told only once.
        size = len(made.proxy.log)
        end = now() + 4 * SECOND
        while len(made.proxy.log) < size + 3 and now() < end:
            made.turn(0.1)
        answers = [event for event in made.events if isinstance(event, Answered)]
        assert len(answers) == 1
        assert decode(made.proxy.log[-1]).type is Type.ACKNOWLEDGEMENT


@pytest.mark.parametrize("lost", [(0,), (1,), (0, 2), (1, 2)])
def test_a_request_with_lost_messages(client, peer, lost):
    answer = client(lost=lost).get(".well-known", "core")

    assert (answer.code, answer.transmissions) == (Code.CONTENT, 1 + len(lost))


def test_a_large_body_with_lost_messages(client, peer):
    made = client(lost=(2, 5, 9, 10))
    made.get(STORE[peer[0]], method=Code.PUT, payload=BODY)
    got = made.get(STORE[peer[0]])

    assert (got.payload, got.transmissions > 3) == (BODY, True)


def test_a_ping(client):
    made = client()
    handle = made.endpoint.ping(seconds(now() / 1e9 + 5), now())

    assert made.result(handle).code == Code.EMPTY


def test_a_node_that_never_answers_is_given_up(client):
    answer = client(lost=range(100)).get("x", within=0.5)

    assert isinstance(answer, Failed)
    assert answer.why == f"no answer to {answer.transmissions} transmissions"
    assert answer.transmissions >= 2


# Debian's client and our server


@pytest.fixture
def node():
    if program(CLIENTS) is None:
        pytest.skip("none of the coap-client programs (package libcoap3-bin) is installed")
    store = Store(slow=Duration(400 * MILLISECOND))
    store.big = LARGE
    made = Node(Server(store.resources, now(), first_message_id=seed(), confirm_every=3))
    made.store = store
    yield made
    made.close()


def command(node, path, *options):
    url = f"coap://127.0.0.1:{node.port}/{path}"
    return [program(CLIENTS), "-B", "10", "-v", "0", *options, url]


def coap_client(node, path, *options, every=None):
    """Run the client; return what it printed."""
    [printed] = node.serve(command(node, path, *options), every=every)
    return printed


def test_the_client_gets_puts_and_finds(node, tmp_path):
    assert coap_client(node, "temperature").strip() == "20.3"
    assert "4.04" in coap_client(node, "nowhere")
    assert "4.05" in coap_client(node, "temperature", "-m", "put", "-e", "7")
    assert "4.06" in coap_client(node, "temperature", "-A", "60")
    assert "4.02" in coap_client(node, "temperature", "-O", "65001,x")
    coap_client(node, "store", "-m", "put", "-e", "21.5", "-t", "0")
    assert node.store.stored == b"21.5"
    listed = parse(coap_client(node, ".well-known/core").strip())
    assert [link.target for link in listed] == [
        "/temperature",
        "/big",
        "/slow",
        "/store",
        "/soap",
    ]


def test_the_client_fetches_and_sends_large_bodies(node, tmp_path):
    assert coap_client(node, "big").encode().startswith(LARGE)
    assert coap_client(node, "big", "-b", "64").encode().startswith(LARGE)
    file = tmp_path / "body"
    file.write_bytes(BODY)
    for size in ("1024", "32"):
        node.store.stored = b""
        coap_client(node, "store", "-m", "put", "-b", size, "-f", str(file))
        assert node.store.stored == BODY
    back = tmp_path / "back"
    coap_client(node, "store", "-o", str(back))
    assert back.read_bytes() == BODY


def test_the_client_takes_a_separate_answer_and_repeats_what_is_lost(node):
    options = [(), ("-N",), ("-l", "1")]
    printed = node.serve(*(command(node, "slow", *each) for each in options))

    assert [one.strip() for one in printed] == ["20.3"] * 3


def test_the_client_is_kept_informed(node):
    due = [now()]
    number = [0]

    def change():
        if now() >= due[0]:
            due[0] = now() + 100 * MILLISECOND
            number[0] += 1
            node.store.text = f"<{number[0]}>"
            node.server.changed(("temperature",), now())

    printed = coap_client(node, "temperature", "-s", "1", "-w", every=change)
    told = [int(part) for part in re.findall(r"<(\d+)>", printed)]
    assert len(told) >= 4
    assert told == list(range(told[0], told[0] + len(told)))
    assert node.server.observers(("temperature",)) == 0


# What we say, read by a dissector


def session():
    """Return datagrams of all kinds that both sides of ours send, as (to the server?, octets)."""
    store = Store()
    store.big = LARGE
    pair = Pair(
        store,
        client=endpoint(parameters=Parameters(block_exponent=5, early=True)),
        confirm_every=2,
    )
    for path in ("temperature", "big", "slow", "nowhere", "store"):
        pair.ask(path)
    pair.ask("store", method=Code.PUT, payload=BODY, content_format=42)
    pair.ask("temperature", accept=60)
    pair.ask("temperature", confirmable=False, query=("unit=K",))
    pair.run(20)
    watched = pair.ask("temperature", observe=True)
    for number in range(21, 27):
        pair.run(number)
        pair.change(str(number))
    pair.run(30)
    pair.endpoint.cancel(watched, pair.now)
    pair.endpoint.ping(seconds(40), pair.now)
    pair.run(40)
    return [(to_server, encode(message)) for _, to_server, message in pair.log]


def write_capture(file, datagrams):
    """Write a capture of raw IPv4 packets (link type 101), one millisecond apart."""
    with file.open("wb") as out:
        out.write(struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65_535, 101))
        for number, (to_server, octets) in enumerate(datagrams):
            ports = (40_000, 5683) if to_server else (5683, 40_000)
            udp = struct.pack(">HHHH", *ports, 8 + len(octets), 0) + octets
            head = struct.pack(">BBHHHBBH", 0x45, 0, 20 + len(udp), number, 0, 64, 17, 0)
            packet = head + bytes([127, 0, 0, 1]) * 2 + udp
            seconds_, rest = divmod(number, 1000)
            out.write(struct.pack("<IIII", seconds_, rest * 1000, len(packet), len(packet)))
            out.write(packet)


def tshark(file, *options):
    asked = ["tshark", "-n", "-r", str(file), *options]
    ended = subprocess.run(asked, capture_output=True, text=True, timeout=60, check=True)
    return ended.stdout.splitlines()


def test_a_dissector_reads_all_of_it_without_a_warning(tmp_path):
    if shutil.which("tshark") is None:
        pytest.skip("tshark is not installed")
    datagrams = session()
    file = tmp_path / "session.pcap"
    write_capture(file, datagrams)
    fields = ("coap.type", "coap.code", "coap.mid", "coap.token", "coap.payload_length")
    rows = tshark(file, "-T", "fields", *(part for field in fields for part in ("-e", field)))
    assert len(rows) == len(datagrams) > 60
    for row, (_, octets) in zip(rows, datagrams, strict=True):
        message = decode(octets)
        kind, code, number, token, length = row.split("\t")
        assert (int(kind), int(code), int(number)) == (
            message.type,
            message.code,
            message.message_id,
        )
        assert token.replace(":", "") == message.token.hex()
        if not {Option.BLOCK1, Option.BLOCK2} & {number for number, _ in message.options}:
            assert int(length or 0) == len(message.payload)  # of blocks it shows the whole
    assert tshark(file, "-Y", "_ws.expert || _ws.malformed") == []
    write_capture(file, [*datagrams, (True, bytes.fromhex("40011234b3616c"))])
    assert len(tshark(file, "-Y", "_ws.expert || _ws.malformed")) == 1


def test_the_foreign_node_program_needs_nothing_of_this_project():
    code = (
        "import sys, tests.wall.coap_node; print([n for n in sys.modules if n.startswith('hil')])"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code],
        cwd=Path(__file__).parent.parent.parent,
        capture_output=True,
        text=True,
        timeout=30,
        check=True,
    )

    assert ended.stdout.strip() == "[]"
