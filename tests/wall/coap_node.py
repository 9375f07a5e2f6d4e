"""A CoAP node made of aiocoap's server: a program nobody here wrote the protocol of.

    python coap_node.py

It prints `ready PORT`, binds 127.0.0.1, and answers until its standard input closes.  It has
`count` (observable, ten times a second), `large` (5000 octets), `store` (put and get), `slow`
(answers after 0.4 s, hence separately) and /.well-known/core.
"""

import asyncio
import socket
import sys

import aiocoap
from aiocoap import resource

LARGE = b"".join(b"%04d " % number for number in range(1000))


class Count(resource.ObservableResource):
    def __init__(self) -> None:
        super().__init__()
        self.number = 0

    async def run(self) -> None:
        while True:
            await asyncio.sleep(0.1)
            self.number += 1
            self.updated_state()

    async def render_get(self, request: aiocoap.Message) -> aiocoap.Message:
        return aiocoap.Message(payload=str(self.number).encode(), content_format=0)


class Large(resource.Resource):
    async def render_get(self, request: aiocoap.Message) -> aiocoap.Message:
        return aiocoap.Message(payload=LARGE)


class Store(resource.Resource):
    content = b""

    async def render_get(self, request: aiocoap.Message) -> aiocoap.Message:
        return aiocoap.Message(payload=self.content)

    async def render_put(self, request: aiocoap.Message) -> aiocoap.Message:
        self.content = request.payload
        return aiocoap.Message(code=aiocoap.CHANGED)


class Slow(resource.Resource):
    async def render_get(self, request: aiocoap.Message) -> aiocoap.Message:
        await asyncio.sleep(0.4)
        return aiocoap.Message(payload=b"at last")


def free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


async def main() -> None:
    count = Count()
    site = resource.Site()
    core = (".well-known", "core")
    site.add_resource(core, resource.WKCResource(site.get_resources_as_linkheader))
    for name, one in (("count", count), ("large", Large()), ("store", Store()), ("slow", Slow())):
        site.add_resource([name], one)
    port = free_port()
    await aiocoap.Context.create_server_context(
        site, bind=("127.0.0.1", port), transports=["simplesocketserver"]
    )
    counting = asyncio.create_task(count.run())
    print(f"ready {port}", flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    counting.cancel()


if __name__ == "__main__":
    asyncio.run(main())
