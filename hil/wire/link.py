"""The links to all nodes of a rack: commands to datagrams, datagrams to observations.

A machine: it never reads a clock and never opens a socket.

    execute(command, now)  ──▶  take_sends()  ──▶  the bench  ──▶  sent(packet, at)
    take_observations()    ◀──  receive(packet, now), refused(node, at, text), tick(now)

Answers are matched by request number, operation and sender, readings are taken once; everything
else is a NodeNote and never used.  Observations carry their own instants.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from hil.core.errand import Inquiry, Prompt, Unmanned, Wish
from hil.core.event import ConsoleLine
from hil.core.instant import Instant
from hil.core.observation import (
    Command,
    CommandLost,
    NodeNote,
    NodeTrouble,
    Observation,
)
from hil.wire.board import Board
from hil.wire.coap.conversation import CoapConversation
from hil.wire.console.talk import ConsoleTalk
from hil.wire.conversation import Conversation
from hil.wire.pending import Numbers
from hil.wire.rack import Address, Node, Rack
from hil.wire.timers import Timers

Partner = Conversation | CoapConversation | ConsoleTalk
"""Who takes part in what is said with one node."""


@dataclass(slots=True, unsafe_hash=True)
class Packet:
    """A datagram on the tool's side, to or from one node.

    `peer` is where it goes to, or really came from; `token` the command that it carries, if any.
    Treat it as frozen; it is not declared so because making one must be cheap.
    """

    node: str
    peer: Address
    payload: bytes
    token: int | None = None


class Links:
    """The machine over all nodes of a rack.

    The first wakeup is `start` where any node is to be listened to or polled.  Request numbers
    begin with `first_request` and are fresh for each request, over all nodes.
    """

    def __init__(self, rack: Rack, start: Instant, first_request: int = 1) -> None:
        self._timers = Timers()
        self._observations: list[Observation] = []
        self._sends: list[Packet] = []
        self._addresses = {node.name: node.address for node in rack.nodes}
        self._nodes_of = {signal.path: node.name for node in rack.nodes for signal in node.signals}
        numbers, say = Numbers(first_request), self._observations.append
        self._board = Board(rack, say)
        self._lines: list[ConsoleLine] = []
        self._talks = self._open_consoles(rack, start)

        def converse(node: Node) -> Conversation | CoapConversation:
            if node.coap is not None:
                return CoapConversation(node, first_request, self._timers, say, self._queue, start)
            return Conversation(node, numbers, self._timers, say, self._queue, start)

        self._conversations: dict[str, Partner] = {
            node.name: converse(node) for node in rack.nodes if node.address.port
        }
        mouth = next(iter(self._conversations), None)
        if self._board.question is not None and mouth is not None:
            self._sends.append(Packet(mouth, *self._board.question))
        for name, talk in self._talks.items():
            self._conversations.setdefault(name, talk)
        self._partners: tuple[Mapping[str, Partner], Mapping[str, Partner]] = (
            self._talks,  # a packet of port 0 is a serial line's
            self._conversations,
        )

    def execute(self, command: Command | Wish, now: Instant) -> None:
        """Send a command, or find out who a node is; what cannot be sent is lost at once."""
        self._catch_up(now)
        if isinstance(command, Inquiry):
            self._inquire(command.node, now)
            return
        if isinstance(command, Prompt):  # a bench that has a person passes this on before
            self._observations.append(Unmanned(at=now, text="nobody is at this bench"))
        if not isinstance(command, Command):
            return
        node = self._nodes_of.get(command.signal)
        if node is None:
            text = f"there is no signal {command.signal}"
            self._observations.append(CommandLost(token=command.token, at=now, detail=text))
            return
        self._conversations[node].command(command, now)

    def receive(self, packet: Packet, now: Instant) -> None:
        """Take in one datagram that arrived at `now`; no octets whatever raise anything."""
        heap = self._timers.heap
        if heap and heap[0][0] < now:
            self._catch_up(now)
        conversation = self._partners[packet.peer.port > 0].get(packet.node)
        if conversation is not None:
            conversation.receive(packet, now)
            return
        if packet.node == self._board.name and self._board.receive(
            packet.peer, packet.payload, now
        ):
            return
        for each in self._conversations.values():
            if not isinstance(each, ConsoleTalk) and each.claims(packet.payload):
                each.receive(packet, now)  # from another address, and told as that
                return
        text = f"datagram from {packet.peer}, where no node of this rack is"
        note = NodeNote(
            node=packet.node,
            trouble=NodeTrouble.FOREIGN,
            at=now,
            text=text,
            raw=packet.payload,
        )
        self._observations.append(note)

    def sent(self, packet: Packet, at: Instant) -> None:
        """Learn from the bench that a packet left at `at`."""
        conversation = self._partners[packet.peer.port > 0].get(packet.node)
        if conversation is not None:
            conversation.sent(packet, at)

    def refused(self, node: str, at: Instant, text: str) -> None:
        """Learn from the bench that nobody listens at the node's port; its commands are lost."""
        self._catch_up(at)
        conversation = self._conversations.get(node)
        if conversation is not None:
            conversation.refused(at, text)

    def unplugged(self, node: str, at: Instant, text: str) -> None:
        """Learn from the bench that the line to the node's console failed."""
        self._catch_up(at)
        talk = self._talks.get(node)
        if talk is not None:
            talk.refused(at, text)

    def tick(self, now: Instant) -> None:
        """Learn that time has reached `now`."""
        while self._timers.fire(now):
            pass

    def next_wakeup(self) -> Instant | None:
        """Return when the next answer is missing, value grows stale, or request is due."""
        return self._timers.next()

    def take_sends(self) -> tuple[Packet, ...]:
        """Hand over the packets to send, oldest first."""
        if not self._sends:
            return ()
        sends, self._sends = tuple(self._sends), []
        return sends

    def take_observations(self) -> list[Observation]:
        """Hand over what was observed, in the order in which it happened."""
        observations = self._observations
        if not observations:
            return []
        observations = observations[:]
        self._observations.clear()
        return observations

    def take_lines(self) -> list[ConsoleLine]:
        """Hand over what stood on consoles, with instants that count from the start."""
        if not self._lines:
            return []
        lines = self._lines[:]
        self._lines.clear()
        return lines

    def lost(self, node: str) -> int:
        """Return how many readings of a node never came, by its sequence numbers."""
        return self._conversations[node].track.lost

    def _inquire(self, node: str, now: Instant) -> None:
        self._conversations[node].inquire(now)

    def _open_consoles(self, rack: Rack, start: Instant) -> dict[str, ConsoleTalk]:
        """Return the talks on the rack's consoles; names tell a swapped one from a stranger."""
        names = {node.identity.serial: node.name for node in rack.nodes if node.identity.serial}
        say, tell = self._observations.append, self._lines.append
        return {
            node.name: ConsoleTalk(node, self._timers, say, self._queue, tell, start, names)
            for node in rack.nodes
            if node.console is not None
        }

    def _catch_up(self, now: Instant) -> None:
        """Let everything happen that was due before `now`."""
        self.tick(Instant(now - 1))

    def _queue(self, node: str, payload: bytes, token: int | None) -> None:
        self._sends.append(Packet(node, self._addresses[node], payload, token))
