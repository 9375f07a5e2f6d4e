"""What the rack needs of each of its software nodes, whatever it speaks."""

from typing import Protocol

from hil.core.instant import Instant
from hil.wire.rack import Envelope, Node


class Participant(Protocol):
    """One software node; `outbox` is what it wants sent."""

    node: Node
    outbox: list[Envelope]

    def receive(self, thing: Envelope, now: Instant) -> None: ...
    def tick(self, now: Instant) -> None: ...
    def next_wakeup(self) -> Instant | None: ...
    def rehearse(self) -> None: ...

    @property
    def settled(self) -> bool: ...
