"""A software node: one address, the rack's layouts, and a model behind them.

    request ──latency──▶ done ──▶ answer, with the request's number
                           └────▶ reading, if something changed

* A repeated request (same sender, same octets) is done once; its answer is repeated.
* `listen` makes the sender a listener for three times `renew`; listeners get every change and a
  reading at each beat, or at each beat only, as the model says.  A new one gets a reading at once.
* `read` is answered with an answer and a reading.
* Status: 0 done, 1 unknown operation, 2 out of range.
* What is no request to this node is not answered.
* `power: restart` answers, goes away for a while, forgets listeners and commands, comes back with
  one boot more and announces itself with one reading to those who listened before.
* The fault `silent` stops all readings; requests are still answered.

Who listens, and how readings are counted, is in hil.nodes.audience.  Chance comes from a seed and
time from outside.
"""

from collections import deque
from collections.abc import Sequence
from typing import NamedTuple

from hil.core.instant import Duration, Instant
from hil.core.signal import Kind, Value
from hil.nodes.announcement import Announcement
from hil.nodes.audience import Audience
from hil.nodes.model import Model
from hil.nodes.noise import Noise
from hil.nodes.settings import Settings
from hil.wire.decoded import Decoded
from hil.wire.layout import Codec
from hil.wire.rack import Address, Envelope, Node, Role

DONE, UNKNOWN_OPERATION, OUT_OF_RANGE = 0, 1, 2

_REMEMBERED = 64
"""Answers kept for requests that may be repeated."""


class _Job(NamedTuple):
    """A request in hand: done at `due`."""

    due: Instant
    sender: Address
    payload: bytes
    request: Decoded
    codec: Codec


class SoftwareNode:
    """The machine of one node."""

    def __init__(
        self,
        node: Node,
        codecs: Sequence[Codec],
        model: Model,
        settings: Settings,
        noise: Noise,
        start: Instant,
    ) -> None:
        """Power up; `codecs` are the node's layouts, compiled."""
        self.node = node
        self.model = model
        self._noise = noise
        self._latency = settings.duration("fastest-answer"), settings.duration("slowest-answer")
        self._beat = settings.duration("report-every")
        self._boot_time = settings.duration("boot-time")
        self._requests = [codec for codec in codecs if codec.layout.role is Role.REQUEST]
        self._answers = [codec for codec in codecs if codec.layout.role is Role.ANSWER]
        self._announcements = [
            Announcement(codec) for codec in codecs if codec.layout.role is Role.READING
        ]
        self._driven = {operation: name for name, operation in node.operations.items()}
        self._signals = {signal.name: signal for signal in node.signals}
        identity = {"serial": node.identity.serial, "firmware": settings.text("firmware")}
        model.values.update(identity)
        self._boots, self._booted_at = 1, start
        self._down_until: Instant | None = None
        self._jobs: deque[_Job] = deque()
        self._in_hand: set[tuple[Address, bytes]] = set()
        self._given: dict[tuple[Address, bytes], tuple[bytes, Instant]] = {}
        self._audience = Audience(node.readings_to)
        self.outbox: list[Envelope] = []
        """What is to be sent; `take_sends` empties it."""
        self._next_beat: Instant | None = None
        self._first_beat = noise.between(Duration(1), self._beat)
        self._tell_group(start)
        model.start(start)

    def rehearse(self) -> None:
        """Encode one reading and send it nowhere.  Raises WireError where a value does not fit."""
        for announcement in self._announcements:
            announcement.octets(self.model.values, 0, 0, self._boots)

    # --- the machine ---------------------------------------------------------------------------

    def receive(self, thing: Envelope, now: Instant) -> None:
        """Take a datagram; a request is put in hand, anything else is ignored."""
        if self._down_until is not None:
            return
        for codec in self._requests:
            request = codec.decode(thing.payload)
            if request is not None and request.node in (None, self.node.number):
                self._take(thing, request, codec, now)
                return

    def tick(self, now: Instant) -> None:
        """Do what is due: requests in hand, movement, the beat, coming back after a restart."""
        if self._down_until is not None:
            if now < self._down_until:
                return
            self._boot(now)
        jobs = self._jobs
        while jobs and jobs[0].due <= now:
            self._do(jobs.popleft(), now)
            if self._down_until is not None:
                return
        if self.model.tick(now):
            self._report(now)
        if self._next_beat is not None and now >= self._next_beat:
            self._beat_once(now)

    def next_wakeup(self) -> Instant | None:
        """Return when something is due."""
        if self._down_until is not None:
            return self._down_until
        wakeup = self._next_beat
        if self._jobs and (wakeup is None or self._jobs[0].due < wakeup):
            wakeup = self._jobs[0].due
        moving = self.model.next_wakeup()
        return moving if wakeup is None or (moving is not None and moving < wakeup) else wakeup

    def take_sends(self) -> tuple[Envelope, ...]:
        """Hand over what is to be sent."""
        if not self.outbox:
            return ()
        sends = tuple(self.outbox)
        self.outbox.clear()
        return sends

    @property
    def settled(self) -> bool:
        """Whether it has nothing to find out about other nodes before it works as it should."""
        return True

    def uptime(self, now: Instant) -> Duration | None:
        """Return how long it has been up; None while it boots."""
        return None if self._down_until is not None else Duration(now - self._booted_at)

    @property
    def boots(self) -> int:
        """How often it has booted."""
        return self._boots

    # --- requests ------------------------------------------------------------------------------

    def _take(self, thing: Envelope, request: Decoded, codec: Codec, now: Instant) -> None:
        key = thing.source, thing.payload
        if key in self._in_hand:
            return
        due = Instant(now + self._noise.between(*self._latency))
        if self._jobs and self._jobs[-1].due > due:
            due = self._jobs[-1].due
        self._in_hand.add(key)
        self._jobs.append(_Job(due, thing.source, thing.payload, request, codec))

    def _do(self, job: _Job, now: Instant) -> None:
        key = job.sender, job.payload
        self._in_hand.discard(key)
        given = self._given.get(key)
        if given is not None and now - given[1] <= 10 * self.node.answer_within:
            self._send(job.sender, given[0])
            return
        operation = job.request.operation
        if operation is not None and operation in (self.node.read, self.node.listen):
            self._tell(job, operation, now)
            return
        name = self._driven.get(operation) if operation is not None else None
        status, changed = self._drive(name, job.request, now)
        answer = self._answer(job, name, status, now)
        if len(self._given) >= _REMEMBERED:
            del self._given[next(iter(self._given))]
        self._given[key] = answer, now
        self._send(job.sender, answer)
        if changed:
            self._report(now)
        if name == "power" and self.model.values["power"] == "restart":
            self._go_down(now)

    def _tell(self, job: _Job, operation: int, now: Instant) -> None:
        """Answer `read` and `listen`."""
        self._send(job.sender, self._answer(job, None, DONE, now))
        new = job.sender not in self._audience
        self._audience.tidy()
        if operation == self.node.listen:
            self._audience.add(job.sender, Instant(now + 3 * (self.node.renew or self._beat)))
            if self._next_beat is None:
                self._next_beat = Instant(now + self._first_beat)
        if operation == self.node.read or new:
            self._send_reading((job.sender,), now)

    def _drive(self, name: str | None, request: Decoded, now: Instant) -> tuple[int, bool]:
        """Do a command; return its status and whether a reading would differ."""
        if name is None:
            return UNKNOWN_OPERATION, False
        value = request.readings[0].value if request.readings else None
        signal = self._signals[name]
        if value is None or (isinstance(value, str) and signal.kind is Kind.NUMBER):
            return OUT_OF_RANGE, False
        if not isinstance(value, str):
            if signal.low is not None and value < signal.low:
                return OUT_OF_RANGE, False
            if signal.high is not None and value > signal.high:
                return OUT_OF_RANGE, False
        return DONE, self.model.drive(name, value, now)

    def _answer(self, job: _Job, name: str | None, status: int, now: Instant) -> bytes:
        """Encode the answer to a request; it carries the value now in force."""
        kind = self._signals[name].kind if name is not None else Kind.NUMBER
        codec = next((codec for codec in self._answers if codec.suits(kind)), None)
        if codec is None:
            return b""
        value: Value | int | None = 0
        if name is not None:
            drive = self._signals[name].drive
            value = job.request.readings[0].value if status == DONE else self.model.values[name]
            value = drive.safe if value is None and drive is not None else value
        return codec.encode(
            request=job.request.request or 0,
            operation=job.request.operation or 0,
            status=status,
            uptime=now - self._booted_at,
            boots=self._boots,
            value=value,
        )

    # --- readings ------------------------------------------------------------------------------

    def _report(self, now: Instant) -> None:
        """Tell all listeners about a change, where the model reports changes."""
        if self.model.reports_changes:
            self._send_reading(self._audience.at(now), now, looked=True)

    def _beat_once(self, now: Instant) -> None:
        listeners = self._audience.at(now)
        if not listeners:
            self._next_beat = None
            return
        self.model.look(now)
        self._send_reading(listeners, now, looked=True)
        following = (self._next_beat or now) + self._beat
        self._next_beat = Instant(following if following > now else now + self._beat)

    def _send_reading(self, to: tuple[Address, ...], now: Instant, looked: bool = False) -> None:
        values = self.model.values
        if values.get("fault") == "silent" or not to:
            return
        if not looked:
            self.model.look(now)
        uptime, count, source = now - self._booted_at, self._audience.count, self.node.address
        for address in to:
            sequence = count(address)
            for announcement in self._announcements:
                payload = announcement.octets(values, sequence, uptime, self._boots)
                self.outbox.append(Envelope(source, address, payload))

    def _send(self, to: Address, payload: bytes) -> None:
        if payload:
            self.outbox.append(Envelope(self.node.address, to, payload))

    def _tell_group(self, now: Instant) -> None:
        """Begin to tell the group, where the node has one, without being asked."""
        if self.node.readings_to is not None:
            self._next_beat = Instant(now + self._first_beat)

    # --- restart -------------------------------------------------------------------------------

    def _go_down(self, now: Instant) -> None:
        self._down_until = Instant(now + self._boot_time)
        self._jobs.clear()
        self._in_hand.clear()
        self._given.clear()
        self._next_beat = None

    def _boot(self, now: Instant) -> None:
        self._down_until = None
        self._boots += 1
        self._booted_at = now
        former = self._audience.leave()
        identity = {name: self.model.values[name] for name in ("serial", "firmware")}
        self.model.boot(now)
        self.model.values.update(identity)
        self._tell_group(now)
        self._send_reading(former, now)
