"""CoAP GET through our endpoint, against aiocoap's client, both asking the same server.

The server is Debian's coap-server, or aiocoap's own where that is not installed.  Both clients
ask one after the other, confirmably, and wait for each answer.  Ours stands on a plain blocking
socket, with the timers looked at whenever that has waited long enough.
"""

import asyncio
import socket
import statistics
import sys
import time
from pathlib import Path

import aiocoap
from benchmarks.measure import Figure

sys.path.insert(0, str(Path(__file__).parent.parent))

from wall.coap_shell import SERVERS, aiocoap_node, libcoap, now, program, seed

from hil.core.instant import SECOND, Instant
from hil.wire.coap.code import Code
from hil.wire.coap.endpoint import Answered, Ask, Endpoint

ROUNDS = 7
GETS = 500
PATH = (".well-known", "core")


def our_rate(port: int) -> float:
    """Return GETs per second through the endpoint."""
    endpoint = Endpoint(now(), first_message_id=seed(), first_token=seed())
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.connect(("127.0.0.1", port))
        began = time.perf_counter()
        for _ in range(GETS):
            _get(endpoint, sock)
        return GETS / (time.perf_counter() - began)


def _get(endpoint: Endpoint, sock: socket.socket) -> None:
    at = now()
    handle = endpoint.ask(Ask(path=PATH, until=Instant(at + 10 * SECOND)), at)
    while True:
        for octets in endpoint.take_sends():
            sock.send(octets)
            endpoint.sent(octets, now())
        wakeup = endpoint.next_wakeup()
        assert wakeup is not None
        sock.settimeout(max(1e-6, (wakeup - now()) / SECOND))
        try:
            endpoint.receive(sock.recv(65_535), now())
        except TimeoutError:
            endpoint.tick(now())
        for event in endpoint.take_events():
            if isinstance(event, Answered) and event.handle == handle:
                assert event.code == Code.CONTENT
                return


async def their_rate(port: int) -> float:
    """Return GETs per second through aiocoap's client."""
    context = await aiocoap.Context.create_client_context()
    uri = f"coap://127.0.0.1:{port}/" + "/".join(PATH)
    try:
        await context.request(aiocoap.Message(code=aiocoap.GET, uri=uri)).response
        began = time.perf_counter()
        for _ in range(GETS):
            answer = await context.request(aiocoap.Message(code=aiocoap.GET, uri=uri)).response
            assert answer.code == aiocoap.CONTENT
        return GETS / (time.perf_counter() - began)
    finally:
        await context.shutdown()


def figures() -> list[Figure]:
    """Measure in turn, median over all rounds."""
    ours, theirs = [], []
    with libcoap() if program(SERVERS) else aiocoap_node() as server:
        our_rate(server.port)
        for _ in range(ROUNDS):
            theirs.append(asyncio.run(their_rate(server.port)))
            ours.append(our_rate(server.port))
    value, floor = statistics.median(ours), statistics.median(theirs)
    return [
        Figure(
            what="CoAP GET through the endpoint, against aiocoap's client",
            value=f"{value:,.0f} /s",
            floor=f"{floor:,.0f} /s",
            ratio=value / floor,
            limit=3.0,
            at_least=True,
        )
    ]
