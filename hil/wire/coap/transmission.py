"""Sending messages to one peer: one after the other, again where no acknowledgement comes.

    queued ──> out ──────────────> closed     answered, reset, or given up
                └──> acknowledged ──┘         the answer is still to come

At most NSTART messages are out at a time (RFC 7252 §4.7); the others wait in their order.  A
confirmable one is repeated after a timeout that doubles each time (§4.2).  Whoever wants
something sent gives a Transmission, and hears of it once: when it is given up or reset.
"""

from collections import deque
from collections.abc import Callable
from typing import Protocol

from hil.core.chance import Chance
from hil.core.instant import Duration, Instant, after, show_duration
from hil.wire.coap.message_ids import MessageIds
from hil.wire.coap.parameters import Parameters
from hil.wire.timers import NEVER, Timer, Timers


class Owner(Protocol):
    """Whoever wants something sent."""

    def compose(self, message_id: int, now: Instant) -> bytes:
        """Make the datagram; called when its turn has come."""

    def gave_up(self, why: str, at: Instant) -> None:
        """Learn that no acknowledgement or no answer came in time."""

    def was_reset(self, at: Instant) -> None:
        """Learn that the peer answered with a Reset."""


class Transmission:
    """One message and its repetitions.

    With `stale` set, the next repetition is composed anew, under an id of its own (RFC 7641
    §4.5.2).  `sent_at` is when the first one left; before that, it is None.
    """

    __slots__ = (
        "acknowledged",
        "closed",
        "confirmable",
        "count",
        "message_id",
        "octets",
        "owner",
        "repeat_at",
        "sent_at",
        "stale",
        "timeout",
        "timer",
        "until",
    )

    def __init__(self, owner: Owner, confirmable: bool, until: Instant = NEVER) -> None:
        self.owner, self.confirmable, self.until = owner, confirmable, until
        self.octets = b""
        self.message_id = -1
        self.count = 0
        self.sent_at: Instant | None = None
        self.timeout = Duration(0)
        self.repeat_at = NEVER
        self.acknowledged = self.closed = self.stale = False
        self.timer: Timer | None = None

    @property
    def is_out(self) -> bool:
        """Whether it takes one of the NSTART places."""
        return self.count > 0 and not self.acknowledged and not self.closed


class Transmitter:
    """All that is being sent to one peer; `put` takes the datagrams."""

    def __init__(
        self,
        timers: Timers,
        ids: MessageIds,
        chance: Chance,
        parameters: Parameters,
        put: Callable[[bytes], None],
    ) -> None:
        self._timers, self._ids, self._chance = timers, ids, chance
        self._nstart, self._max_retransmit = parameters.nstart, parameters.max_retransmit
        self._shortest = parameters.ack_timeout
        self._spread = parameters.longest_timeout - parameters.ack_timeout
        self._lifetime = parameters.exchange_lifetime
        self._put = put
        self._queue: deque[Transmission] = deque()
        self._out = 0
        self._by_id: dict[int, Transmission] = {}
        self._id_wait = Timer(timers, self._resume)

    @property
    def idle(self) -> bool:
        """Whether nothing is being sent and nothing waited for."""
        return not self._by_id and not self._queue

    def find(self, message_id: int) -> Transmission | None:
        """Return the transmission whose latest datagram has this id."""
        return self._by_id.get(message_id)

    def submit(self, transmission: Transmission, now: Instant) -> None:
        """Send it as soon as its turn has come."""
        transmission.timer = Timer(
            self._timers, lambda due, present: self._wake(transmission, due, present)
        )
        self._queue.append(transmission)
        self._arm(transmission)
        self._go_on(now)

    def acknowledge(self, transmission: Transmission, now: Instant) -> None:
        """Stop repeating; the answer is still waited for."""
        if transmission.acknowledged or transmission.closed:
            return
        self._out -= 1
        transmission.acknowledged = True
        transmission.repeat_at = NEVER
        self._arm(transmission)
        self._go_on(now)

    def close(self, transmission: Transmission, now: Instant) -> None:
        """Stop repeating and waiting: it was answered, or nobody is interested any more."""
        if transmission.closed:
            return
        if transmission.is_out:
            self._out -= 1
        transmission.closed = True
        self._by_id.pop(transmission.message_id, None)
        if transmission.timer is not None:
            transmission.timer.clear()
        if not transmission.count:
            self._queue.remove(transmission)
        self._go_on(now)

    def sent(self, octets: bytes, at: Instant) -> None:
        """Learn when a datagram really left: latency and timeout count from there."""
        transmission = self._by_id.get(int.from_bytes(octets[2:4], "big"))
        if transmission is None or transmission.octets != octets:
            return
        if transmission.count == 1:
            transmission.sent_at = at
        if transmission.repeat_at != NEVER:
            transmission.repeat_at = after(at, transmission.timeout)
            self._arm(transmission)

    def _go_on(self, now: Instant) -> None:
        """Send what may be sent now."""
        while self._out < self._nstart and self._queue:
            message_id = self._ids.fresh(now)
            if message_id is None:
                self._id_wait.set(self._ids.free_at())
                return
            transmission = self._queue.popleft()
            self._out += 1
            transmission.timeout = Duration(self._shortest + self._chance.below(self._spread + 1))
            self._transmit(transmission, message_id, now)

    def _transmit(self, transmission: Transmission, message_id: int, now: Instant) -> None:
        transmission.message_id = message_id
        transmission.octets = transmission.owner.compose(message_id, now)
        transmission.stale = False
        self._by_id[message_id] = transmission
        self._emit(transmission, now)

    def _emit(self, transmission: Transmission, now: Instant) -> None:
        transmission.count += 1
        if transmission.count == 1:
            transmission.sent_at = now
        if transmission.confirmable:
            transmission.repeat_at = after(now, transmission.timeout)
        self._put(transmission.octets)
        self._arm(transmission)

    def _arm(self, transmission: Transmission) -> None:
        """Be woken for the next repetition, or right after the last instant of waiting."""
        if transmission.timer is not None:
            transmission.timer.set(min(transmission.repeat_at, Instant(transmission.until + 1)))

    def _wake(self, transmission: Transmission, due: Instant, now: Instant) -> None:
        if due > transmission.until:
            self._give_up(transmission, self._reason(transmission), due, now)
        elif transmission.count > self._max_retransmit:
            why = f"no acknowledgement of {transmission.count} transmissions"
            self._give_up(transmission, why, due, now)
        else:
            self._repeat(transmission, now)

    def _give_up(self, transmission: Transmission, why: str, at: Instant, now: Instant) -> None:
        self.close(transmission, now)
        transmission.owner.gave_up(why, at)

    def _repeat(self, transmission: Transmission, now: Instant) -> None:
        transmission.timeout = Duration(2 * transmission.timeout)
        fresh = self._ids.fresh(now) if transmission.stale else None
        if fresh is None:
            self._emit(transmission, now)
            return
        del self._by_id[transmission.message_id]
        self._transmit(transmission, fresh, now)

    def _resume(self, due: Instant, now: Instant) -> None:
        self._go_on(now)

    def _reason(self, transmission: Transmission) -> str:
        """Say why nothing came of it by its last instant."""
        if not transmission.count:
            if self._out < self._nstart:
                shown = show_duration(self._lifetime)
                return f"never sent: all 65,536 message ids were used within {shown}"
            return "never sent: an earlier request is still without an answer"
        if transmission.acknowledged:
            return "acknowledged, but never answered"
        times = f"{transmission.count} transmission{'s' * (transmission.count > 1)}"
        return f"no answer to {times}"
