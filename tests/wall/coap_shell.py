"""The endpoint and the server behind plain UDP sockets, and a proxy that loses what it is told to.

The shell is as thin as it gets: one socket, `select`, and CLOCK_MONOTONIC.
"""

import os
import select
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path

from wall.ports import free_port

from hil.core.instant import SECOND, Instant
from hil.wire.coap.endpoint import Answered, Ask, Endpoint, Failed, Parameters
from hil.wire.rack import Address

SERVERS = ("coap-server", "coap-server-notls", "coap-server-openssl", "coap-server-gnutls")
CLIENTS = ("coap-client", "coap-client-notls", "coap-client-openssl", "coap-client-gnutls")


def program(names):
    """Return the first of the programs that is installed, or None."""
    return next((found for name in names if (found := shutil.which(name))), None)


def now():
    return Instant(time.monotonic_ns())


def seed():
    """Begin with ids and tokens that a node cannot remember from another test."""
    return int.from_bytes(os.urandom(4), "big")


class Client:
    """Our endpoint on a connected socket."""

    def __init__(self, port, parameters=None, proxy=None):
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.connect(("127.0.0.1", port if proxy is None else proxy.port))
        self.proxy = proxy
        self.endpoint = Endpoint(
            now(),
            first_message_id=seed(),
            first_token=seed(),
            parameters=parameters or Parameters(),
        )
        self.events = []

    def ask(self, *path, within=10, **more):
        until = Instant(now() + int(within * SECOND))
        return self.endpoint.ask(Ask(path=path, until=until, **more), now())

    def turn(self, longest):
        """Send what is due, wait for one arrival or timer, and take it in."""
        for octets in self.endpoint.take_sends():
            self.socket.send(octets)
            self.endpoint.sent(octets, now())
        wakeup = self.endpoint.next_wakeup()
        patience = longest if wakeup is None else min(longest, (wakeup - now()) / SECOND)
        others = self.proxy.sockets if self.proxy else []
        ready, _, _ = select.select([self.socket, *others], [], [], max(0, patience))
        for one in ready:
            if one is self.socket:
                self.endpoint.receive(one.recv(65_535), now())
            else:
                self.proxy.pass_on(one)
        self.endpoint.tick(now())
        self.events += self.endpoint.take_events()

    def result(self, handle):
        """Wait for the end of a handle."""
        while True:
            for event in self.events:
                if isinstance(event, Answered | Failed) and event.handle == handle:
                    return event
            self.turn(1)

    def get(self, *path, **more):
        return self.result(self.ask(*path, **more))

    def during(self, seconds):
        end = now() + int(seconds * SECOND)
        while now() < end:
            self.turn((end - now()) / SECOND)
        return self.events

    def close(self):
        self.socket.close()


class Proxy:
    """Stands before a node and loses the datagrams whose numbers it is given, from 0."""

    def __init__(self, node_port, lost=()):
        self.front = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.front.bind(("127.0.0.1", 0))
        self.port = self.front.getsockname()[1]
        self.back = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.back.connect(("127.0.0.1", node_port))
        self.sockets = [self.front, self.back]
        self.lost, self.log = set(lost), []
        self._client = None

    def pass_on(self, one):
        octets, source = one.recvfrom(65_535)
        if one is self.front:
            self._client = source
        self.log.append(octets)
        if len(self.log) - 1 in self.lost:
            return
        if one is self.front:
            self.back.send(octets)
        else:
            self.front.sendto(octets, self._client)

    def close(self):
        self.front.close()
        self.back.close()


class Node:
    """Our server on a socket, serving as long as somebody else is busy."""

    def __init__(self, server):
        self.server = server
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.port = self.socket.getsockname()[1]

    def turn(self, longest):
        for peer, octets in self.server.take_sends():
            self.socket.sendto(octets, tuple(peer))
        wakeup = self.server.next_wakeup()
        patience = longest if wakeup is None else min(longest, (wakeup - now()) / SECOND)
        if select.select([self.socket], [], [], max(0, patience))[0]:
            octets, source = self.socket.recvfrom(65_535)
            self.server.receive(Address(*source), octets, now())
        self.server.tick(now())

    def serve(self, *commands, longest=15.0, every=None):
        """Run programs against this node, all at once; return what each of them printed.

        `every` is called in between.
        """
        end = time.monotonic() + longest
        running = [
            subprocess.Popen(
                command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL
            )
            for command in commands
        ]
        try:
            while any(one.poll() is None for one in running):
                assert time.monotonic() < end, f"not all of {commands} ended within {longest} s"
                self.turn(0.02)
                if every is not None:
                    every()
            return [one.stdout.read().decode("utf-8", "replace") for one in running]
        finally:
            for one in running:
                one.kill()
                one.wait(5)
                one.stdout.close()

    def close(self):
        self.socket.close()


class Foreign:
    """A program that is a CoAP node, ended with the block; `port` is where it listens."""

    def __init__(self, command, port, ready=None):
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        self.port = port
        if ready is not None:
            self.port = int(self.process.stdout.readline().split()[1])

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.stdin.close()
        self.process.terminate()
        self.process.wait(5)
        self.process.stdout.close()


def libcoap():
    """Start Debian's CoAP server; it may be given new resources."""
    port = free_port()
    command = [program(SERVERS), "-A", "127.0.0.1", "-p", str(port), "-d", "10", "-v", "0"]
    foreign = Foreign(command, port)
    if not _listens(port):
        foreign.__exit__()
        raise AssertionError("the server did not begin to listen")
    return foreign


def _listens(port):
    """Ask until somebody listens: a connected socket hears of a closed port."""
    client = Client(port)
    try:
        for _ in range(200):
            try:
                if isinstance(client.get(within=0.02), Answered):
                    return True
            except ConnectionRefusedError:
                select.select([], [], [], 0.02)
        return False
    finally:
        client.close()


def aiocoap_node():
    """Start aiocoap's server."""
    node = Path(__file__).parent / "coap_node.py"
    return Foreign([sys.executable, str(node)], 0, ready=True)
