"""A scan: who is there?  In rounds, so that one lost datagram is no missing node.

    each round    the ask of the bench file, to its group        → announces
                  `read`, to every address of the bench file      → readings, answers
                  GET /.well-known/core, to all CoAP nodes        → link lists (RFC 7252 §8)
    all the time  announces that come by themselves

A machine; it asks and never drives: nothing it sends can move anything.
"""

from collections.abc import Iterator

from hil.core.instant import ZERO, Instant
from hil.core.signal import Kind
from hil.wire.announce import Discovery, nobodys
from hil.wire.coap_call import CoapCall
from hil.wire.decoded import Head
from hil.wire.encoding import WireError
from hil.wire.identity import identity_names, shown
from hil.wire.layout import Codec
from hil.wire.link import Packet
from hil.wire.rack import Address, Node, Rack, Role
from hil.wire.sighting import Sighting, Sightings, Told

FIRST_REQUEST = 0x7000
"""Requests of a scan have numbers far from those of a run (1 …) and of its guard (0x8000 …)."""

ANNOUNCED, ASKED = "announced", "asked"


class Scan:
    """The machine of one scan, begun at `start`."""

    def __init__(self, rack: Rack, start: Instant) -> None:
        self._plan = rack.discovery or Discovery()
        self._due = start
        self.done = False
        self.rounds = self._plan.rounds
        self._turn = -1
        self._seen = Sightings()
        self._nodes = [node for node in rack.nodes if node.address.port]
        self._codecs = {
            node.name: [Codec(layout, node) for layout in node.layouts] for node in self._nodes
        }
        self._announce = None if self._plan.announce is None else nobodys(self._plan.announce)
        self._ask = None if self._plan.ask is None else nobodys(self._plan.ask)
        self._coap = CoapCall(rack, self._plan.coap)
        self._numbers = FIRST_REQUEST
        self._sends: list[Packet] = []
        self.odd: dict[str, None] = {}
        """What nobody understood, and what could not be sent, in words."""
        self.tick(start)

    @property
    def sightings(self) -> list[Sighting]:
        """Return who was seen, in the order in which they were seen first."""
        return self._seen.merged(node.address for node in self._nodes)

    def questions(self) -> list[str]:
        """Return in words what is sent in each round."""
        found = []
        if self._ask is not None:
            found.append(f"`{self._ask.layout.name}` to {self._plan.group}")
        read = [node for node in self._nodes if node.coap is None and node.read is not None]
        if read:
            found.append(f"`read` to {len(read)} addresses of the bench file")
        return found + self._coap.words()

    def receive(self, packet: Packet, now: Instant) -> None:
        """Take in a datagram; no octets whatever raise anything."""
        if self.done:
            return
        payload, source = packet.payload, packet.peer
        if self._ask is not None and self._ask.head(payload) is not None:
            return  # our own, or that of somebody else who looks around
        told = self._announced(payload) or self._read(payload, source) or self._coap.read(payload)
        if told is None:
            size = len(payload)
            self.odd[f"{source} sent {size} octets that no layout here explains"] = None
            return
        self._seen.take(source, told, self._turn if told.turn is None else told.turn)

    def refused(self, text: str) -> None:
        """Learn that something could not be sent, or that nobody listens somewhere."""
        self.odd[text] = None

    def tick(self, now: Instant) -> None:
        """Begin the round that is due, or end the last one."""
        if self.done or now < self._due:
            return
        self._turn += 1
        if self._turn == self.rounds:
            self.done = True
            return
        last = self._turn + 1 == self.rounds
        self._due = Instant(now + max(self._plan.every, self._coap.leisure if last else ZERO))
        self._sends += self._round()

    def next_wakeup(self) -> Instant | None:
        """Return when the next round begins, or the last one ends."""
        return None if self.done else self._due

    def take_sends(self) -> tuple[Packet, ...]:
        """Hand over what is to be sent."""
        sends, self._sends = tuple(self._sends), []
        return sends

    # --- asking --------------------------------------------------------------------------------

    def _round(self) -> Iterator[Packet]:
        mouth = self._nodes[0].name if self._nodes else ""
        if self._ask is not None and self._plan.group is not None and mouth:
            yield Packet(mouth, self._plan.group, self._ask.encode())
        for node in self._nodes:
            octets = b"" if node.coap is not None else self._request(node)
            if octets:
                yield Packet(node.name, node.address, octets)
        yield from self._coap.round(self._turn)

    def _request(self, node: Node) -> bytes:
        """Return a `read` request, or nothing where the node cannot be asked."""
        codecs = [each for each in self._codecs[node.name] if each.layout.role is Role.REQUEST]
        codecs = [each for each in codecs if each.suits(Kind.NUMBER)] or codecs
        if node.read is None or not codecs:
            return b""
        self._numbers += 1
        number = self._numbers % (codecs[0].request_span or 1)
        try:
            return codecs[0].encode(request=number, operation=node.read)
        except WireError:  # its value field takes no 0
            return b""

    # --- being told ----------------------------------------------------------------------------

    def _announced(self, payload: bytes) -> Told | None:
        codec = self._announce
        head = None if codec is None else codec.head(payload)
        return None if codec is None or head is None else _told(codec, head, payload, ANNOUNCED)

    def _read(self, payload: bytes, source: Address) -> Told | None:
        """Take a datagram as one of the node at that address, or else of any."""
        for node in sorted(self._nodes, key=lambda node: node.address != source):
            for codec in self._codecs[node.name]:
                head = None if codec.layout.role is Role.REQUEST else codec.head(payload)
                if head is not None:
                    return _told(codec, head, payload, ASKED)
        return None


def _told(codec: Codec, head: Head, payload: bytes, way: str) -> Told:
    plain = codec.plain(payload)
    names = identity_names(codec)
    more = (
        ()
        if way != ANNOUNCED
        else tuple((name, shown(value)) for name, value in plain.items() if name not in names)
    )
    return Told(
        way=way,
        number=head.node,
        serial=shown(plain["serial"]) if "serial" in names else "",
        firmware=shown(plain["firmware"]) if "firmware" in names else "",
        boots=head.boots,
        uptime=head.uptime,
        more=tuple((name, text) for name, text in more if text),
    )
