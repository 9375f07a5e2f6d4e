"""Whose datagrams they are that come to a group: they are told apart by who sent them.

A node may send to a group from another port than the one it is asked at, so its host is enough
where no other node of that group has the same.  An announce is always the group's, wherever it
came to: who it is about, it says itself.
"""

from collections.abc import Iterator

from hil.wire.announce import nobodys
from hil.wire.link import Packet
from hil.wire.rack import Address, Rack


class GroupMail:
    """The groups of a rack, each under its own name, and what comes to them."""

    def __init__(self, rack: Rack) -> None:
        self.groups = {str(group): group for group in groups_of(rack)}
        self._owners: dict[tuple[str, Address], str] = {}
        self._hosts: dict[tuple[str, str], str | None] = {}
        for node in rack.nodes:
            if node.readings_to is not None:
                group, host = str(node.readings_to), node.address.host
                self._owners[group, node.address] = node.name
                alone = (group, host) not in self._hosts
                self._hosts[group, host] = node.name if alone else None
        self._addresses = {node.name: node.address for node in rack.nodes}
        found = rack.discovery
        self._board = "" if found is None or found.announce is None else str(found.group)
        self._announce = None if found is None or not found.announce else nobodys(found.announce)

    def packet(self, name: str, peer: Address, payload: bytes) -> Packet:
        """Return what came to a socket: under the name of the node that it came from."""
        if self._announce is not None and self._announce.head(payload) is not None:
            return Packet(self._board, peer, payload)  # to the group, or to the socket that asked
        if name not in self.groups:
            return Packet(name, peer, payload)
        owner = self._owners.get((name, peer)) or self._hosts.get((name, peer.host))
        return Packet(owner or name, self._addresses[owner] if owner else peer, payload)


def groups_of(rack: Rack) -> Iterator[Address]:
    """Yield every group that the tool listens to in a run, once."""
    found = [node.readings_to for node in rack.nodes]
    if rack.discovery is not None and rack.discovery.announce is not None:
        found.append(rack.discovery.group)
    yield from dict.fromkeys(group for group in found if group is not None)
