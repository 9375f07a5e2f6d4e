"""The two ends of a run's datagrams: the nodes' addresses, and one made up for the tool towards each."""

from collections.abc import Mapping

from hil.core.event import Datagram, ForeignDatagram
from hil.report.capture.headers import wrap
from hil.wire.rack import Address, Rack

FIRST_PORT = 49_152
"""The tool's made-up ports begin here: the dynamic ports of RFC 6335 § 6."""


class Ends:
    """The addresses of both ends."""

    def __init__(self, rack: Rack) -> None:
        self._nodes: Mapping[str, Address] = {node.name: node.address for node in rack.nodes}
        taken = set(self._nodes.values())
        ports = (
            port for port in range(FIRST_PORT, 65_536) if Address(rack.host, port) not in taken
        )
        self._tool = {name: Address(rack.host, next(ports)) for name in self._nodes}

    def packet(self, event: Datagram | ForeignDatagram, number: int) -> bytes | None:
        tool, node = self._tool.get(event.node), self._nodes.get(event.node)
        if isinstance(event, ForeignDatagram):
            node = address(event.peer)
        if tool is None or node is None or not node.port:
            return None
        ends = (tool, node) if isinstance(event, Datagram) and event.way == "out" else (node, tool)
        try:
            return wrap(*ends, bytes.fromhex(event.hex), number)
        except ValueError:
            return None


def address(text: str) -> Address | None:
    """Return an address from its text, `host:port` or `[host]:port`; None where it is none."""
    host, _, port = text.rpartition(":")
    return Address(host.strip("[]"), int(port)) if port.isdigit() else None
