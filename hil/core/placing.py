"""Putting driven signals where they belong, and seeing that they are there.

Used to restore what a case touched and to make every actuator safe.  A signal is in place when
the node accepted the command and, where it has a read-back, the read-back shows it within its
tolerance.  Safe commands that stay unanswered are repeated: this is no judgement of the node.
"""

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from hil.core.driving import Progress, Trip
from hil.core.instant import MILLISECOND, SECOND, Duration, Instant, after, earliest
from hil.core.observation import Observation, Purpose, Samples
from hil.core.scene import Scene
from hil.core.signal import Sample, Signal, Validity, Value, show_value

READ_BACK_SLACK = Duration(1 * SECOND)
"""How long beyond its settling time a read-back may take to show a safe or rest value."""

REPEATS = 4
REPEAT_PAUSE = Duration(20 * MILLISECOND)


@dataclass(slots=True)
class Target:
    """One signal to be put in place; `done` and `failed` are never both set."""

    signal: Signal
    value: Value
    trip: Trip | None = None
    attempts: int = 0
    next_attempt: Instant = Instant(0)
    deadline: Instant | None = None
    done: bool = False
    failed: str = ""

    @property
    def over(self) -> bool:
        return self.done or bool(self.failed)


class Placing:
    """The machine that puts signals in place; over when `done`."""

    def __init__(
        self,
        scene: Scene,
        targets: Sequence[tuple[str, Value]],
        purpose: Purpose,
        start: Instant,
        limit: Instant | None = None,
    ) -> None:
        self._scene = scene
        self._purpose = purpose
        self._limit = limit
        self.targets = [Target(scene.signals[path], value) for path, value in targets]
        for target in self.targets:
            if purpose is Purpose.RESTORE:
                target.next_attempt = scene.driving.ready_at(target.signal.path, target.value)
        self.tick(start)

    @property
    def done(self) -> bool:
        return all(target.over for target in self.targets)

    def hurry(self, limit: Instant) -> None:
        """Wait no longer than until `limit`; what is not confirmed by then has failed."""
        self._limit = limit if self._limit is None else min(limit, self._limit)

    def receive(self, seen: Observation, now: Instant) -> None:
        """Look for read-backs and for the answers to our own commands."""
        if isinstance(seen, Samples):
            awaited = self._awaited()
            if not awaited.isdisjoint(seen.signals):
                for sample in seen.of(awaited):
                    self._look(sample)
        self.tick(now)

    def tick(self, now: Instant) -> None:
        """Send what is due, repeat what was lost, give up what took too long."""
        for target in self.targets:
            if not target.over:
                self._advance(target, now)
            if not target.over and self._limit is not None and now >= self._limit:
                target.failed = "time ran out before it was confirmed"

    def next_wakeup(self) -> Instant | None:
        """Return the next send or the next moment at which patience ends."""
        if self.done:
            return None
        wakeups = [
            target.next_attempt if target.trip is None else target.deadline
            for target in self.targets
            if not target.over
        ]
        return earliest(self._limit, *wakeups)

    def heeds(self) -> Container[str]:
        """Return the nodes whose samples may change anything now: those that read back."""
        return {self._scene.signals[path].node for path in self._awaited()}

    def _awaited(self) -> set[str]:
        """Return the read-backs that are waited for."""
        return {
            target.signal.drive.readback
            for target in self.targets
            if target.deadline is not None
            and not target.over
            and target.signal.drive is not None
            and target.signal.drive.readback is not None
        }

    def take_sends(self) -> tuple[()]:
        """Return nothing: commands leave through the scene's driving."""
        return ()

    def _advance(self, target: Target, now: Instant) -> None:
        if target.trip is None:
            if now < target.next_attempt:
                return
            target.attempts += 1
            target.trip = self._scene.driving.send(target.signal.path, target.value, self._purpose)
        if not target.trip.over:
            return
        if target.trip.progress is Progress.ACCEPTED:
            self._await_read_back(target, target.trip, now)
        elif target.trip.progress is Progress.REFUSED:
            target.failed = f"refused: {target.trip.detail}"
        elif self._purpose is Purpose.SAFE and target.attempts < REPEATS:
            target.trip, target.next_attempt = None, after(now, REPEAT_PAUSE)
        else:
            target.failed = target.trip.detail

    def _await_read_back(self, target: Target, trip: Trip, now: Instant) -> None:
        drive = target.signal.drive
        assert drive is not None
        assert trip.ended is not None
        if drive.readback is None:
            target.done = True
        elif target.deadline is None:
            target.deadline = Instant(trip.ended + drive.settle + READ_BACK_SLACK)
            self._look_back(target, trip)
        elif now >= target.deadline:
            seen = self._scene.latest.get(drive.readback)
            signal = self._scene.signals[drive.readback]
            shown = "nothing" if seen is None else show_value(seen.value, signal)
            target.failed = f"{drive.readback} read back {shown}"

    def _look_back(self, target: Target, trip: Trip) -> None:
        """Count a read-back that overtook the answer."""
        drive = target.signal.drive
        assert drive is not None
        seen = self._scene.latest.get(drive.readback or "")
        if seen is not None and trip.sent is not None and seen.at >= trip.sent:
            self._look(seen)

    def _look(self, sample: Sample) -> None:
        for target in self.targets:
            drive = target.signal.drive
            if target.over or target.deadline is None or drive is None:
                continue
            if drive.readback == sample.signal and _agrees(target, sample):
                target.done = True


def safe_values(signals: Mapping[str, Signal]) -> list[tuple[str, Value]]:
    """Return every signal that nodes are told, with its safe value: actuators, then injections."""
    driven = [
        signal
        for signal in signals.values()
        if signal.drive is not None and signal.drive.program is None
    ]
    driven.sort(key=lambda signal: not (signal.drive and signal.drive.actuator))
    return [(signal.path, signal.drive.safe) for signal in driven if signal.drive is not None]


def _agrees(target: Target, sample: Sample) -> bool:
    if sample.validity is not Validity.VALID or target.signal.drive is None:
        return False
    if isinstance(sample.value, Decimal) and isinstance(target.value, Decimal):
        return abs(sample.value - target.value) <= target.signal.drive.readback_tolerance
    return sample.value == target.value
