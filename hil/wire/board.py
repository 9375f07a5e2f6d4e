"""Announces that are heard during a run: does a node that must not be there say it is?

They are asked for once, at the beginning, where the bench file says how; then only listened to.
Each board is told about once.
"""

from collections.abc import Mapping

from hil.core.instant import Instant
from hil.core.observation import NodeNote, NodeTrouble
from hil.wire.announce import Discovery, nobodys
from hil.wire.identity import identity_names, shown
from hil.wire.rack import Address, Node, Rack
from hil.wire.reception import Say


class Board:
    """Where announces arrive; `name` is that of their group, empty where there is none.

    `question` is what is asked there once, at the beginning: (group, octets), or None.
    """

    def __init__(self, rack: Rack, say: Say) -> None:
        found = rack.discovery or Discovery()
        self._say = say
        self._codec = None if found.announce is None else nobodys(found.announce)
        self._ask = None if found.ask is None else nobodys(found.ask)
        self.name = "" if self._codec is None else str(found.group)
        self.question: tuple[Address, bytes] | None = None
        if self._ask is not None and found.group is not None:
            self.question = found.group, self._ask.encode()
        self._nodes = {node.number: node for node in rack.nodes}
        self._told: set[tuple[Address, int | None, str]] = set()

    def receive(self, peer: Address, payload: bytes, now: Instant) -> bool:
        """Take a datagram if it is an announce, or asks for one; return whether it is."""
        if self._ask is not None and self._ask.head(payload) is not None:
            return True
        codec = self._codec
        head = None if codec is None else codec.head(payload)
        if codec is None or head is None:
            return False
        plain = codec.plain(payload)
        words = {name: text for name, value in plain.items() if (text := shown(value))}
        serial = words.get("serial", "") if "serial" in identity_names(codec) else ""
        if (peer, head.node, serial) not in self._told:
            self._told.add((peer, head.node, serial))
            self._judge(self._nodes.get(head.node or 0), peer, serial, words, payload, now)
        return True

    def _judge(
        self,
        node: Node | None,
        peer: Address,
        serial: str,
        words: Mapping[str, str],
        payload: bytes,
        now: Instant,
    ) -> None:
        who = ", ".join(f"{name} {text}" for name, text in words.items()) or "somebody"
        if node is None:
            text = f"{who} announces itself from {peer}: no node of this rack"
            trouble, name = NodeTrouble.FOREIGN, self.name
        elif node.identity.serial and serial and serial != node.identity.serial:
            trouble, name, wanted = NodeTrouble.IDENTITY, node.name, node.identity.serial
            text = f"{who} announces itself from {peer}"
            if peer == node.address:
                text = f"serial is {serial}, wanted {wanted}: {text}"
            else:
                text = f"two nodes have the number {node.number}: {text}"
                text = f"{text}; serial {wanted} must be at {node.address}"
        elif peer.host != node.address.host:
            trouble, name = NodeTrouble.FOREIGN, node.name
            text = f"{who} announces itself from {peer}, {node.name} is at {node.address}"
        else:
            return
        self._say(NodeNote(node=name, trouble=trouble, at=now, text=text, raw=payload))
