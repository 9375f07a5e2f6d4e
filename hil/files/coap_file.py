"""Reading `coap` under a node of a bench file.

The signals are read one by one; those with the same path and format are parts of one resource,
which is read once for all of them.
"""

from collections.abc import Mapping

from hil.core.instant import MILLISECOND, SECOND, Duration
from hil.files.coap_shape import COAP, FACT, UPTIME, read_length
from hil.files.coap_signal_file import CoapSignalText, open_signal
from hil.files.coap_spot import Shared, read_spot
from hil.files.leaf import FLAG, WHOLE
from hil.files.mistake import Page
from hil.files.signal_file import SignalText
from hil.files.tree import Map, Node
from hil.wire.coap.description import FACTS, Coap

RENEW = Duration(5 * SECOND)
ACK_TIMEOUT = Duration(2000 * MILLISECOND)
RETRANSMISSIONS, MOST_RETRANSMISSIONS = 4, 20


class CoapText:
    """The `coap` of one node while its signals are being read."""

    def __init__(self, node: Node, page: Page) -> None:
        self._page = page
        keys = self._keys = COAP.open(node, page) or {}
        self._observe = bool(FLAG.at(keys, "observe", page))
        self._confirmable = FLAG.at(keys, "confirmable", page) is not False
        self._accept = FLAG.at(keys, "accept", page) is not False
        self._poll = read_length(keys, "poll", page)
        self._renew = read_length(keys, "renew", page) or RENEW
        self._ack_timeout = read_length(keys, "ack-timeout", page) or ACK_TIMEOUT
        self._retransmissions = self._read_retransmissions()
        self._tick = SECOND
        self._signals: list[CoapSignalText] = []
        self._shared = Shared(page)

    def _read_retransmissions(self) -> int:
        number = WHOLE.at(self._keys, "retransmissions", self._page)
        if number is None:
            return RETRANSMISSIONS
        if not 0 <= number <= MOST_RETRANSMISSIONS:
            what = f"retransmissions: expected 0 to {MOST_RETRANSMISSIONS}"
            self._page.wrong(self._keys["retransmissions"], what)
        return number

    def take(self, name: str, signal: Node) -> tuple[bool, Duration | None]:
        """Read the `coap` of a signal.

        Returns whether it is read at all, and the longest time between two looks: None where the
        node tells each change, or where nobody knows.
        """
        found = open_signal(name, signal, self._observe, self._poll, self._page)
        if found is None:
            return True, None
        self._signals.append(found)
        if found.poll is None and not found.observe:
            return "path" in found.keys, self._renew
        return "path" in found.keys, found.poll

    def share(self, texts: Mapping[str, SignalText], wanted: Mapping[str, Node]) -> None:
        """Put signals and facts where they are read; `wanted` is what the node must report."""
        for found in self._signals:
            if found.name in texts:
                found.share(texts[found.name], self._shared)
        for name in FACTS:
            if name in self._keys:
                self._share_fact(name, self._keys[name])
            elif name in wanted:
                what = f"{name}: the `coap` of the node says no path to ask for it"
                self._page.wrong(wanted[name], what, f"coap: {{{name}: about/{name}}}")

    def _share_fact(self, name: str, node: Node) -> None:
        shape = UPTIME if name == "uptime" else FACT
        keys = shape.open(node, self._page) if type(node) is Map else {"path": node}
        if keys is None:
            return
        if "tick" in keys:
            self._tick = read_length(keys, "tick", self._page) or SECOND
        spot = read_spot(keys, node, self._page)
        if spot is not None:
            self._shared.add_fact(name, spot)

    def build(self) -> Coap:
        """Put it together; called only where the file has no mistake."""
        return Coap(
            resources=self._shared.resources,
            targets=self._shared.targets,
            confirmable=self._confirmable,
            accept=self._accept,
            renew=self._renew,
            tick=self._tick,
            ack_timeout=self._ack_timeout,
            retransmissions=self._retransmissions,
        )
