"""Commands on their way: numbered, held to their limits, followed until they are answered.

Range and rate are enforced here, once more, whatever the reader has already checked: a command
outside its range is never queued.  A command may differ from the one before it to the same
signal by at most rate × the time since then; a step waits until that is so.  Before the first
one a signal counts as commanded, at the start, to where it was seen.  Safe commands go out at once:
to be safe beats the rate limit.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum

from hil.core.errand import Halt, Wish
from hil.core.event import CommandLogged, Event
from hil.core.instant import SECOND, Instant
from hil.core.observation import Command, CommandAnswered, CommandLost, CommandSent, Purpose
from hil.core.signal import Sample, Signal, Validity, Value, show_value


class Progress(Enum):
    """How far a command has come."""

    QUEUED = "queued"
    SENT = "sent"
    ACCEPTED = "accepted"
    REFUSED = "refused"
    LOST = "lost"


@dataclass(slots=True)
class Trip:
    """One command and what became of it; `sent` and `ended` are instants.

    One that is lost is `broken` where the bench itself failed.
    """

    command: Command
    progress: Progress = Progress.QUEUED
    sent: Instant | None = None
    ended: Instant | None = None
    detail: str = ""
    broken: bool = False

    @property
    def over(self) -> bool:
        return self.ended is not None


class Driving:
    """All commands of a run, which begins at `start` (or `origin`) with what is `known` by signal."""

    def __init__(
        self,
        signals: Mapping[str, Signal],
        origin: Instant,
        start: Instant | None = None,
        known: Mapping[str, Sample] | None = None,
    ) -> None:
        self._signals = signals
        self._origin = origin
        self._open: dict[int, Trip] = {}
        self._queue: list[Command | Wish] = []
        self._events: list[Event] = []
        self._last: dict[str, tuple[Value, Instant]] = dict(
            _seen(signals, known or {}, origin if start is None else start)
        )
        self._distrusted: dict[str, str] = {}
        self._token = 0
        self.astray: set[str] = set()
        """Signals driven by programs of the bench which may be elsewhere than safe."""

    def ready_at(self, signal: str, value: Value) -> Instant:
        """Return the earliest instant at which the rate limit allows this command."""
        drive = self._signals[signal].drive
        last = self._last.get(signal)
        if drive is None or drive.rate is None or last is None:
            return Instant(0)
        before, at = last
        if isinstance(before, str) or isinstance(value, str):
            return Instant(0)
        return Instant(at + int(abs(value - before) / drive.rate * SECOND))

    def fresh(self) -> int:
        """Return a token that nothing has borne yet."""
        self._token += 1
        return self._token

    def wish(self, wish: Wish) -> None:
        """Queue what is asked of the bench besides commands."""
        self._queue.append(wish)

    def halt(self) -> None:
        """Have every program of the bench ended that is still at work."""
        drives = [self._signals[trip.command.signal].drive for trip in self._open.values()]
        if any(drive is not None and drive.program is not None for drive in drives):
            self.wish(Halt())

    def send(self, signal: str, value: Value, purpose: Purpose) -> Trip:
        """Queue a command; one outside the signal's range is refused on the spot, never sent."""
        token = self.fresh()
        trip = Trip(Command(token=token, signal=signal, value=value, purpose=purpose))
        refusal = self._distrusted.get(self._signals[signal].node, "")
        refusal = refusal or self._refusal(self._signals[signal], value)
        if refusal:
            trip.progress, trip.ended, trip.detail = Progress.REFUSED, self._origin, refusal
            return trip
        self._open[token] = trip
        drive = self._signals[signal].drive
        if drive is not None and drive.program is not None and not drive.program.stays:
            self.astray.add(signal)
        self._queue.append(trip.command)
        return trip

    def receive(self, seen: CommandSent | CommandAnswered | CommandLost) -> None:
        """Note what became of a command."""
        trip = self._open.get(seen.token)
        if trip is None:
            return
        if isinstance(seen, CommandSent):
            trip.progress, trip.sent = Progress.SENT, seen.at
            self._last[trip.command.signal] = (trip.command.value, seen.at)
        else:
            del self._open[seen.token]
            trip.ended, trip.detail = seen.at, seen.detail
            if isinstance(seen, CommandLost):
                trip.progress, trip.broken = Progress.LOST, seen.broken
            else:
                trip.progress = Progress.ACCEPTED if seen.accepted else Progress.REFUSED
                self._note_safe(trip.command)
        self._log(trip, seen.at)

    def distrust(self, node: str, why: str, now: Instant) -> None:
        """Send nothing more to a node, not even what is queued for it already."""
        self._distrusted[node] = why
        for token, trip in list(self._open.items()):
            if self._signals[trip.command.signal].node == node:
                del self._open[token]  # whatever is answered now, another board answers
                trip.progress, trip.ended, trip.detail = Progress.REFUSED, now, why
        self._queue = [
            wish
            for wish in self._queue
            if not isinstance(wish, Command) or wish.token in self._open
        ]

    def take_sends(self) -> tuple[Command | Wish, ...]:
        """Hand over the commands to be sent, and what else is wished."""
        if not self._queue:
            return ()
        sends, self._queue = tuple(self._queue), []
        return sends

    def take_events(self) -> list[Event]:
        """Hand over what happened to commands."""
        events, self._events = self._events, []
        return events

    @staticmethod
    def _refusal(signal: Signal, value: Value) -> str:
        if signal.drive is None:
            return f"{signal.path} cannot be driven"
        if isinstance(value, Decimal):
            if signal.low is not None and value < signal.low:
                return f"{show_value(value, signal)} is below {show_value(signal.low, signal)}"
            if signal.high is not None and value > signal.high:
                return f"{show_value(value, signal)} is above {show_value(signal.high, signal)}"
        return ""

    def _note_safe(self, command: Command) -> None:
        drive = self._signals[command.signal].drive
        if drive is not None and drive.program is not None and command.value == drive.safe:
            self.astray.discard(command.signal)

    def _log(self, trip: Trip, at: Instant) -> None:
        command = trip.command
        self._events.append(
            CommandLogged(
                at=Instant(at - self._origin),
                token=command.token,
                signal=command.signal,
                value=show_value(command.value, self._signals[command.signal]),
                purpose=command.purpose.value,
                state=trip.progress.value,
                detail=trip.detail,
            )
        )


def _seen(
    signals: Mapping[str, Signal], known: Mapping[str, Sample], start: Instant
) -> Iterator[tuple[str, tuple[Value, Instant]]]:
    """Yield where the signals with a rate limit were seen, as if commanded there at the start."""
    for path, signal in signals.items():
        drive = signal.drive
        if drive is None or drive.rate is None:
            continue
        sample = known.get(drive.readback or path)
        if sample is not None and sample.validity is Validity.VALID and sample.value is not None:
            yield path, (sample.value, start)
