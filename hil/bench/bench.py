"""What a bench is: the only thing with a clock and wires.

There are two, `wall` and `virtual`, and one loop (hil.bench.loop) that drives a run on either.
A bench is wholly one or the other.

    send(packet)   → the instant at which the packet was handed to the system
    wait(until)    → arrivals sorted by their own instants, and the horizon

The horizon is a promise: everything that arrived up to that instant has been handed over.  It
never goes back, no arrival lies beyond it, and no later arrival lies before it.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from hil.core.errand import Report
from hil.core.instant import Instant
from hil.core.observation import Abort, CommandAnswered, CommandLost, CommandSent, HostNote
from hil.core.order import Order
from hil.wire.link import Packet

if TYPE_CHECKING:
    from hil.bench.aside import Aside


@dataclass(frozen=True, slots=True)
class Refusal:
    """The segment said that a datagram cannot reach `node`; `text` says why in words.

    `line` where it is the serial line to the node's console that failed.
    """

    node: str
    text: str
    line: bool = False


Fate = CommandSent | CommandAnswered | CommandLost
"""What became of a command that the bench itself carries out, by a program."""


@dataclass(slots=True)
class Arrival:
    """Something that reached the tool at `at`, its own instant.  Treat it as frozen."""

    thing: Packet | Refusal | HostNote | Abort | Order | Fate | Report
    at: Instant


class Bench(Protocol):
    """The seam between a run and the world."""

    stamps: str
    """Where arrival instants come from: `kernel`, `read time` or `virtual`."""

    def now(self) -> Instant:
        """Read the bench's clock; it never goes back."""

    def send(self, packet: Packet) -> Instant:
        """Send a packet and return the instant at which it was handed over; never blocks."""

    def wait(self, until: Instant | None) -> tuple[list[Arrival], Instant]:
        """Wait for arrivals, at most until the instant given; return them and the horizon."""

    def heed(self, aside: "Aside") -> None:
        """Listen to something beside the segment as well."""

    def close(self) -> None:
        """Give back everything the bench holds."""
