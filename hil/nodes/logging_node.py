"""A software node whose console tells what is done to it, beside its datagrams.

It listens to nobody there: it prints its boot line, and a line for every driven signal that
changes.
"""

from hil.core.instant import SECOND, Instant
from hil.nodes.coap_node import CoapNode
from hil.nodes.line_program import LineProgram
from hil.nodes.node import SoftwareNode
from hil.wire.console.description import Console
from hil.wire.rack import Envelope, far_end


class LoggingNode:
    """A node, and a console on which it says what happens."""

    def __init__(
        self, node: SoftwareNode | CoapNode, console: Console, firmware: str, start: Instant
    ) -> None:
        self.node = node.node
        self.inner = node
        self.outbox = node.outbox
        self._line = console.address
        self._program = LineProgram(node.node, firmware)
        self._driven = [signal.name for signal in node.node.signals if signal.drive is not None]
        self._start, self._boots = start, node.boots
        self._before = self._values()

    @property
    def settled(self) -> bool:
        """Whether the node has nothing to find out about others."""
        return self.inner.settled

    def rehearse(self) -> None:
        """See that a reading fits.  Raises WireError."""
        self.inner.rehearse()

    def receive(self, thing: Envelope, now: Instant) -> None:
        """Hand a datagram to the node; what is typed on the console is ignored."""
        if thing.destination != self._line:
            self.inner.receive(thing, now)
            self._tell(now)

    def tick(self, now: Instant) -> None:
        """Let the node do what is due, and tell about it."""
        self.inner.tick(now)
        self._tell(now)

    def next_wakeup(self) -> Instant | None:
        """Return when the node has something to do."""
        return self.inner.next_wakeup()

    def take_sends(self) -> tuple[Envelope, ...]:
        """Hand over datagrams and console lines."""
        return self.inner.take_sends()

    def _values(self) -> list[object]:
        values = self.inner.model.values
        return [values[name] for name in self._driven]

    def _tell(self, now: Instant) -> None:
        if self.inner.boots != self._boots:
            self._boots = self.inner.boots
            self._print(self._program.boot(self._boots))
        before, self._before = self._before, self._values()
        if before == self._before:
            return
        milliseconds = (now - self._start) * 1000 // SECOND
        clock = f"{milliseconds // 1000:4d}.{milliseconds % 1000:03d}"
        for name, old, new in zip(self._driven, before, self._before, strict=True):
            if old != new:
                self._print(f"[{clock}] {name}: {old} to {new}")

    def _print(self, text: str) -> None:
        octets = f"{text}\r\n".encode()
        self.outbox.append(Envelope(self._line, far_end(self._line), octets))
