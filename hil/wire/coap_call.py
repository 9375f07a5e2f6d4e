"""Asking all CoAP nodes at once who is there (RFC 7252 §8, RFC 6690 §4).

The request is non-confirmable (§8.1), its answers come from everybody who feels addressed, each a
moment later than the next (§8.2).  Only a 2.05 with our token counts; errors are no answers.
Nodes that the bench file knows are asked at their own addresses as well.
"""

from collections.abc import Iterator
from ipaddress import ip_address

from hil.wire.coap.code import Code
from hil.wire.coap.link_format import WELL_KNOWN, LinkError, parse
from hil.wire.coap.message import Malformed, Message, Type, decode, encode
from hil.wire.coap.option import Option
from hil.wire.link import Packet
from hil.wire.rack import Address, Rack
from hil.wire.sighting import Told
from hil.wire.zone import bare, in_zone

PORT = 5683
GROUPS = {4: "224.0.1.187", 6: "ff02::fd"}
"""All CoAP Nodes (RFC 7252 §12.8), by the version of IP."""

FIRST_MESSAGE = 0x7000
TOKEN = b"who?"
COAP = "CoAP"


class CoapCall:
    """The question, and what is an answer to it; `group` says whether everybody is asked."""

    def __init__(self, rack: Rack, group: bool) -> None:
        version = ip_address(bare(rack.host)).version
        host = in_zone(GROUPS[version], rack.interface)
        udp = [node.name for node in rack.nodes if node.address.port]
        self._asked = [(n.name, n.address) for n in rack.nodes if n.coap is not None]
        if group and udp:
            self._asked.append((udp[0], Address(host, PORT)))
        self._group = Address(host, PORT) if group else None
        self._message_id = FIRST_MESSAGE

    def words(self) -> list[str]:
        """Return in words what is asked."""
        count = len(self._asked) - (self._group is not None)
        found = [f"GET /.well-known/core to {count} CoAP nodes"] if count else []
        return found + ([f"the same to all CoAP nodes, {self._group}"] if self._group else [])

    def round(self) -> Iterator[Packet]:
        """Yield the questions of one round, each with a message id of its own."""
        for name, address in self._asked:
            self._message_id = (self._message_id + 1) & 0xFFFF
            message = Message(
                Type.NON_CONFIRMABLE,
                Code.GET,
                self._message_id,
                TOKEN,
                tuple((int(Option.URI_PATH), part.encode()) for part in WELL_KNOWN),
            )
            yield Packet(name, address, encode(message))

    def read(self, payload: bytes) -> Told | None:
        """Return what an answer tells; None where it is none to our question."""
        if not self._asked:
            return None
        try:
            message = decode(payload)
            if message.token != TOKEN or message.code != Code.CONTENT:
                return None
            links = parse(message.payload.decode("utf-8"))
        except (Malformed, LinkError, UnicodeDecodeError):
            return None
        return Told(way=COAP, resources=tuple(str(link) for link in links))
