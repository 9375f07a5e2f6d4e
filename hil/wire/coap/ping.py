"""Seeing whether a node is there: an empty confirmable message, which it resets (RFC 7252 §4.3)."""

from collections.abc import Callable

from hil.core.instant import Instant
from hil.wire.coap.message import Type, empty
from hil.wire.coap.transmission import Transmission, Transmitter


class Ping:
    """One ping; `done` hears once how it ended, with an empty text where the node is there."""

    __slots__ = ("_done", "_transmitter", "transmission")

    def __init__(
        self,
        transmitter: Transmitter,
        until: Instant,
        done: Callable[["Ping", str, Instant], None],
    ) -> None:
        self._transmitter, self._done = transmitter, done
        self.transmission = Transmission(self, True, until)

    def begin(self, now: Instant) -> None:
        """Send it."""
        self._transmitter.submit(self.transmission, now)

    def drop(self, now: Instant) -> None:
        """Want no answer any more."""
        self._transmitter.close(self.transmission, now)

    def compose(self, message_id: int, now: Instant) -> bytes:
        """Make the datagram."""
        return empty(Type.CONFIRMABLE, message_id)

    def was_reset(self, at: Instant) -> None:
        """Learn that the node is there."""
        self._transmitter.close(self.transmission, at)
        self._done(self, "", at)

    def gave_up(self, why: str, at: Instant) -> None:
        """Learn that nothing came in time."""
        self._done(self, why, at)
