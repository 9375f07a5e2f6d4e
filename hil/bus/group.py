"""Who gets a datagram that is meant for several.

224.0.0.0/4, ff00::/8, 255.255.255.255   everybody but the sender (RFC 5771, 4291 §2.7, 919)
anything else                            whoever has that address
"""

from collections.abc import Mapping
from ipaddress import ip_address

from hil.wire.rack import Address, Envelope


class Groups:
    """Knows the addresses of every participant, by its index, and copies what goes to all.

    A copy is addressed to the participant's own address with the group's port, or else to the
    first address it was given.  A participant without any address gets none.  That for the
    `tool` goes where `heard` says for the group, if it says so.
    """

    def __init__(
        self, owner: Mapping[Address, int], count: int, tool: int, heard: Mapping[Address, Address]
    ) -> None:
        self._tool, self._heard = tool, heard
        self._addresses: list[list[Address]] = [[] for _ in range(count)]
        for address, who in owner.items():
            self._addresses[who].append(address)
        self._single: dict[str, bool] = {}

    def is_single(self, destination: Address) -> bool:
        """Return whether a destination is one participant's."""
        host = destination.host
        single = self._single.get(host)
        if single is None:
            single = self._single[host] = not _for_all(host)
        return single

    def copies(self, envelope: Envelope, sender: int) -> list[Envelope]:
        """Return one envelope for everybody but the sender."""
        group = envelope.destination
        place = self._heard.get(group)
        return [
            Envelope(
                envelope.source,
                place if who == self._tool and place is not None else _pick(addresses, group.port),
                envelope.payload,
            )
            for who, addresses in enumerate(self._addresses)
            if who != sender and addresses
        ]


def _pick(addresses: list[Address], port: int) -> Address:
    return next((each for each in addresses if each.port == port), addresses[0])


def _for_all(host: str) -> bool:
    try:
        address = ip_address(host)
    except ValueError:  # a name: one host's
        return False
    return address.is_multicast or host == "255.255.255.255"
