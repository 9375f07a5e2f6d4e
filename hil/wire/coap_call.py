"""Asking CoAP nodes who is there (RFC 7252 §8, RFC 6690 §4), and those of the bench file who they are.

    to everybody      GET /.well-known/core, whoever answers is a node
    to each we know   the same, and GET of whatever tells serial, firmware and boots

Requests are non-confirmable (§8.1); answers come from everybody who feels addressed, at leisure
(§8.2), so the token tells the round.  Only a 2.05 with a token of ours counts; errors are no
answers.
"""

from collections.abc import Iterator
from ipaddress import ip_address

from hil.core.instant import SECOND, ZERO, Duration
from hil.wire.coap.code import Code
from hil.wire.coap.description import Resource
from hil.wire.coap.link_format import WELL_KNOWN, LinkError, parse
from hil.wire.coap.message import Malformed, Message, Type, decode, encode
from hil.wire.coap.number import Unreadable
from hil.wire.coap.option import Option
from hil.wire.coap.payload import Missing, open_payload
from hil.wire.coap.value import read_fact
from hil.wire.link import Packet
from hil.wire.rack import Address, Rack
from hil.wire.sighting import Told
from hil.wire.zone import bare, in_zone

PORT = 5683
GROUPS = {4: "224.0.1.187", 6: "ff02::fd"}
"""All CoAP Nodes (RFC 7252 §12.8), by the version of IP."""

LEISURE = Duration(5 * SECOND)
"""How long a server may take its time before it answers everybody (DEFAULT_LEISURE, §8.2)."""

FIRST_MESSAGE = 0x7000
TOKEN = b"who?"
COAP = "CoAP"

_Question = tuple[str, Address, tuple[str, ...], tuple[str, ...], bytes]
"""The socket's node, where to, path, query, token."""


class CoapCall:
    """The questions, and what is an answer to them; `group` says whether everybody is asked."""

    def __init__(self, rack: Rack, group: bool) -> None:
        version = ip_address(bare(rack.host)).version
        host = in_zone(GROUPS[version], rack.interface)
        udp = [node.name for node in rack.nodes if node.address.port]
        known = [(node, node.coap) for node in rack.nodes if node.coap is not None]
        self._known, self._group = len(known), Address(host, PORT) if group and udp else None
        self._questions: list[_Question] = []
        self._telling: dict[bytes, Resource] = {}
        for node, coap in known:
            self._questions.append((node.name, node.address, WELL_KNOWN, (), TOKEN))
            for resource in coap.resources:
                if resource.facts:
                    token = b"id" + len(self._telling).to_bytes(2, "big")
                    self._telling[token] = resource
                    place = resource.place
                    self._questions.append(
                        (node.name, node.address, place.path, place.query, token)
                    )
        if self._group is not None:
            self._questions.append((udp[0], self._group, WELL_KNOWN, (), TOKEN))
        self._message_id = FIRST_MESSAGE

    def words(self) -> list[str]:
        """Return in words what is asked."""
        whom = f"{self._known} CoAP nodes of the bench file"
        found = [f"GET of who it is and what it offers to {whom}"] if self._known else []
        everybody = f"GET /.well-known/core to all CoAP nodes, {self._group}"
        return found + ([everybody] if self._group else [])

    @property
    def leisure(self) -> Duration:
        """How long is waited for the last answer of everybody."""
        return LEISURE if self._group is not None else ZERO

    def round(self, turn: int) -> Iterator[Packet]:
        """Yield the questions of one round, each with a message id of its own."""
        for name, address, path, query, token in self._questions:
            self._message_id = (self._message_id + 1) & 0xFFFF
            options = [(int(Option.URI_PATH), part.encode()) for part in path]
            options += [(int(Option.URI_QUERY), part.encode()) for part in query]
            kind, number = Type.NON_CONFIRMABLE, self._message_id
            message = Message(kind, Code.GET, number, token + bytes([turn]), tuple(options))
            yield Packet(name, address, encode(message))

    def read(self, payload: bytes) -> Told | None:
        """Return what an answer tells; None where it is none to our questions."""
        if not self._questions:
            return None
        try:
            message = decode(payload)
        except Malformed:
            return None
        if message.code != Code.CONTENT:
            return None
        token, turn = message.token[:-1], message.token[-1:]
        if token in self._telling:
            return _facts(message, self._telling[token], turn[0])
        return _links(message, turn[0]) if token == TOKEN else None


def _links(message: Message, turn: int) -> Told | None:
    """Take a list of links; of one that goes on in another block (RFC 7959) only the whole ones."""
    octets = message.payload
    if any(number == Option.BLOCK2 for number, _ in message.options):
        octets = octets.rpartition(b",<")[0] or octets
    try:
        links = parse(octets.decode("utf-8"))
    except (LinkError, UnicodeDecodeError):
        return None
    return Told(way=COAP, resources=tuple(str(link) for link in links), turn=turn)


def _facts(message: Message, resource: Resource, turn: int) -> Told | None:
    told: dict[str, str] = {}
    try:
        content = open_payload(message.payload, resource.format)
        for name, part in resource.facts.items():
            told[name] = read_fact(content, part)
    except (Unreadable, Missing):
        return None
    boots = told.get("boots", "")
    return Told(
        way=COAP,
        serial=told.get("serial", ""),
        firmware=told.get("firmware", ""),
        boots=int(boots) if boots.isdecimal() else None,
        turn=turn,
    )
