"""The head unit's talk with other nodes: repeats, reboots, silence."""

import struct

import pytest
from nodes.hand import NUMBERS, glasshouse, sealed

from hil.core.instant import Duration, Instant
from hil.nodes.peers import Peers
from hil.wire.layout import Codec
from hil.wire.rack import Address, Envelope

MS = 1_000_000
OWN = Address("127.0.0.1", 47_810)


class Wire:
    """Peers on their own, with a beacon and a feedline played by the test."""

    def __init__(self) -> None:
        nodes = [node for node in glasshouse().nodes if node.name in ("feedline", "beacon")]
        self.address = {node.name: node.address for node in nodes}
        self.outbox: list[Envelope] = []
        codecs = {node.name: [Codec(layout, node) for layout in node.layouts] for node in nodes}
        silence = Duration(500 * MS)
        self.peers = Peers(OWN, nodes, codecs, ("feedline",), silence, Instant(0), self.outbox)
        self.now = 0

    def until(self, milliseconds: int) -> list[tuple[float, Envelope]]:
        """Let time pass; return what was sent, and when."""
        sent = [(self.now / MS, envelope) for envelope in self.outbox]
        self.outbox.clear()
        while (wakeup := self.peers.next_wakeup()) is not None and wakeup <= milliseconds * MS:
            self.now = max(self.now, wakeup)
            self.peers.tick(Instant(self.now))
            sent += [(self.now / MS, envelope) for envelope in self.outbox]
            self.outbox.clear()
        self.now = milliseconds * MS
        return sent

    def hear(self, node: str, payload: bytes) -> None:
        self.peers.receive(Envelope(self.address[node], OWN, payload), Instant(self.now))


def reading(node: str, boots: int, uptime: int, body: str) -> bytes:
    head = bytes((0x31, NUMBERS[node])) + bytes(2) + uptime.to_bytes(4, "big")
    serial = f"GH-01{NUMBERS[node]:02}".encode().ljust(8, b"\0") + b"1.4.2\0"
    return sealed(head + boots.to_bytes(2, "big") + serial + bytes.fromhex(body))


def commands(sent: list[tuple[float, Envelope]]) -> list[tuple[float, bytes]]:
    """Only what is neither `read` nor `listen`."""
    return [(at, envelope.payload) for at, envelope in sent if envelope.payload[4] not in (1, 9)]


@pytest.fixture
def wire() -> Wire:
    return Wire()


def test_peers_listen_to_some_and_look_after_the_others(wire: Wire) -> None:
    sent = wire.until(4_500)
    asked = [(at, envelope.payload[1], envelope.payload[4]) for at, envelope in sent]

    assert [at for at, node, op in asked if (node, op) == (1, 9)] == [0, 2_000, 4_000]
    assert [at for at, node, op in asked if (node, op) == (7, 1)] == [0, 1_000, 2_000, 3_000, 4_000]


def test_peers_repeat_an_unanswered_command_with_the_same_octets(wire: Wire) -> None:
    wire.until(10)
    wire.peers.command("beacon.lamp", "red", Instant(wire.now))
    sent = commands(wire.until(900))

    assert [at for at, _ in sent] == [10, 60, 110, 160, 210]
    assert len({payload for _, payload in sent}) == 1


def test_peers_are_content_with_an_answer(wire: Wire) -> None:
    wire.until(10)
    wire.peers.command("beacon.lamp", "red", Instant(wire.now))
    (_, payload), *_ = commands(wire.until(20))
    head = struct.pack(">BBHBB", 0x25, 7, int.from_bytes(payload[2:4], "big"), 4, 0)
    wire.hear("beacon", sealed(head + struct.pack(">Ii", 20, 3)))

    assert commands(wire.until(900)) == []


def test_peers_do_not_repeat_what_was_told_already(wire: Wire) -> None:
    wire.peers.command("beacon.lamp", "red", Instant(0))
    wire.until(900)
    wire.peers.command("beacon.lamp", "red", Instant(wire.now))

    assert commands(wire.until(1_500)) == []


def test_newer_command_replaces_an_unanswered_one(wire: Wire) -> None:
    wire.until(10)
    wire.peers.command("beacon.lamp", "red", Instant(wire.now))
    wire.peers.command("beacon.lamp", "green", Instant(wire.now))
    sent = commands(wire.until(900))

    assert [payload[8] for _, payload in sent] == [3, 1, 1, 1, 1, 1]


def test_rebooted_peer_is_told_again_at_once(wire: Wire) -> None:
    wire.peers.command("beacon.lamp", "red", Instant(0))
    wire.until(900)
    wire.hear("beacon", reading("beacon", 1, 900, "0300"))
    wire.hear("beacon", reading("beacon", 2, 0, "0000"))
    sent = commands(wire.until(901))

    assert [(at, payload[8]) for at, payload in sent] == [(900, 3)]


def test_what_was_let_go_is_not_told_again(wire: Wire) -> None:
    wire.peers.command("beacon.lamp", "red", Instant(0))
    wire.until(900)
    wire.hear("beacon", reading("beacon", 1, 900, "0300"))
    wire.peers.forget("beacon.lamp")
    wire.hear("beacon", reading("beacon", 2, 0, "0000"))

    assert commands(wire.until(901)) == []


def test_readings_during_warm_up_do_not_count(wire: Wire) -> None:
    wire.hear("feedline", reading("feedline", 2, 199, "00050000"))
    early = dict(wire.peers.seen)
    wire.hear("feedline", reading("feedline", 2, 200, "00F00000"))

    assert early == {}
    assert str(wire.peers.seen["feedline.pressure"]) == "2.40"


def test_silent_peer_has_no_values(wire: Wire) -> None:
    wire.hear("feedline", reading("feedline", 1, 900, "00F00000"))
    wire.until(499)
    known = wire.peers.seen["feedline.pressure"]
    wire.until(500)

    assert known is not None
    assert wire.peers.seen["feedline.pressure"] is None
    assert "feedline.pressure" in (wire.peers.take_changes() or ())


def test_same_reading_again_keeps_a_peer_alive(wire: Wire) -> None:
    for at in range(0, 2_000, 100):
        wire.until(at)
        wire.hear("feedline", reading("feedline", 1, 900 + at, "00F00000"))

    assert wire.peers.seen["feedline.pressure"] is not None


@pytest.mark.parametrize("octets", [b"", b"\x31", bytes(32), b"\xff" * 64])
def test_peers_survive_any_octets(wire: Wire, octets: bytes) -> None:
    wire.hear("feedline", octets)

    assert wire.peers.seen == {}


def test_command_to_a_node_that_is_not_there_is_dropped(wire: Wire) -> None:
    wire.until(10)
    wire.peers.command("tile.disc", "red", Instant(wire.now))
    wire.peers.command("beacon.colour", "red", Instant(wire.now))

    assert commands(wire.until(900)) == []
