"""Recorded commands: what became of each, to be found again when a case sends the same one."""

from collections import deque
from collections.abc import Container, Iterable
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from hil.core.event import CommandLogged
from hil.core.instant import Instant
from hil.core.observation import (
    Command,
    CommandAnswered,
    CommandLost,
    CommandSent,
    Observation,
)

NOT_THERE = "the recording holds no such command from here on"


@dataclass(slots=True)
class Fate:
    """One recorded command; an instant is None where that never was."""

    signal: str
    value: str
    purpose: str
    sent: Instant | None = None
    ended: Instant | None = None
    state: str = ""
    detail: str = ""

    @property
    def first(self) -> Instant:
        """When the recording first tells of it."""
        return self.sent if self.sent is not None else self.ended or Instant(0)


class Fates:
    """All commands of a recording, each given out once.

    Those of `programs`, signals that the bench drives by a program, are broken where they are lost.
    """

    def __init__(
        self, logged: Iterable[CommandLogged], programs: Container[str] = frozenset()
    ) -> None:
        self._programs = programs
        open_ones: dict[int, Fate] = {}
        found: list[Fate] = []
        for event in logged:
            fate = open_ones.get(event.token)
            if fate is None:
                fate = Fate(event.signal, event.value, event.purpose)
                open_ones[event.token] = fate
                found.append(fate)
            if event.state == "sent":
                fate.sent = event.at
            else:
                fate.ended, fate.state, fate.detail = event.at, event.state, event.detail
        self._waiting: dict[tuple[str, str, str], deque[Fate]] = {}
        for fate in sorted(found, key=lambda fate: fate.first):
            key = fate.signal, _plain(fate.value), fate.purpose
            self._waiting.setdefault(key, deque()).append(fate)

    def take(self, command: Command, shown: str, now: Instant) -> list[tuple[Instant, Observation]]:
        """Return what became of a command that is sent at `now`, and when."""
        key = command.signal, _plain(shown), command.purpose.value
        waiting = self._waiting.get(key, deque())
        while waiting and waiting[0].first < now:
            waiting.popleft()
        if not waiting:
            return [(now, CommandLost(token=command.token, at=now, detail=NOT_THERE))]
        fate, token = waiting.popleft(), command.token
        told: list[tuple[Instant, Observation]] = []
        if fate.sent is not None:
            told.append((fate.sent, CommandSent(token=token, at=fate.sent)))
        if fate.ended is None:
            return told
        end, detail = fate.ended, fate.detail
        if fate.state == "lost":
            broken = command.signal in self._programs
            told.append((end, CommandLost(token=token, at=end, detail=detail, broken=broken)))
        else:
            accepted = fate.state == "accepted"
            answer = CommandAnswered(token=token, at=end, accepted=accepted, detail=detail)
            told.append((end, answer))
        return told


def _plain(shown: str) -> str:
    """Return a value as text without the zeros that mean nothing: `20.0 deg` is `20 deg`."""
    number, _, unit = shown.partition(" ")
    try:
        return f"{Decimal(number).normalize():f} {unit}"
    except InvalidOperation:
        return shown
