"""A reading as a node sends it: encoded where its values have changed, else only stamped anew."""

from collections.abc import Mapping

from hil.core.signal import Value
from hil.wire.layout import Codec


class Announcement:
    """One reading layout of a node.

    A node at rest says the same over and over, with the next number and a later time.
    """

    __slots__ = ("_boots", "_encode", "_octets", "_restamp", "_values")

    def __init__(self, codec: Codec) -> None:
        self._encode = codec.encode
        self._restamp = codec.restamp
        self._values: Mapping[str, Value | None] | None = None
        self._boots = 0
        self._octets = b""

    def octets(
        self, values: Mapping[str, Value | None], sequence: int, uptime: int, boots: int
    ) -> bytes:
        """Return the datagram.  Raises WireError where a value does not fit."""
        if self._restamp is not None and values == self._values and boots == self._boots:
            return self._restamp(self._octets, sequence, uptime)
        octets = self._encode(values, sequence=sequence, uptime=uptime, boots=boots)
        self._values, self._boots, self._octets = dict(values), boots, octets
        return octets
