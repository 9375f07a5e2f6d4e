"""What a datagram says, once its layout is known."""

from typing import NamedTuple

from hil.core.signal import Value
from hil.wire.encoding import Reading


class Head(NamedTuple):
    """The counters of one datagram; see Decoded."""

    node: int | None
    sequence: int | None
    request: int | None
    operation: int | None
    status: int | None
    uptime: int | None
    boots: int | None
    note: str


class Decoded(NamedTuple):
    """One datagram, decoded; a header field that the layout does not have is None.

    `uptime` is in nanoseconds, modulo the codec's `uptime_span`.  `readings` are the signals in
    the order of the layout; for a request or an answer, the one that its operation is about.
    `plain` are the plain fields by name.
    """

    node: int | None
    sequence: int | None
    request: int | None
    operation: int | None
    status: int | None
    uptime: int | None
    boots: int | None
    readings: tuple[Reading, ...]
    plain: dict[str, Value]
    note: str

    def head(self, sequence: int | None) -> Head:
        """Return the counters alone, with another sequence number."""
        return Head(self.node, sequence, *self[2:7], self.note)
