"""Who speaks when on a console: one thing at a time, each with one absolute deadline.

    put ──▶ waiting ──▶ open, sent ──▶ answered ──▶ (the prompt) ──▶ the next
                             └──▶ given up ──▶ quiet for as long again ──▶ the next

`held` says that nothing may be said at all, `unnamed` that only the question who the node is may.
"""

from collections.abc import Callable

from hil.core.instant import Duration, Instant
from hil.wire.console.turn import Aim, Turn
from hil.wire.timers import Timer, Timers

Send = Callable[[Turn], None]
GiveUp = Callable[[Turn, Instant, Instant], None]


class Turns:
    """The turns of one console.

    `send` says one, `give_up` is told of one without an answer, with its deadline and the present.
    `owed` is what was given up and may still be answered.
    """

    def __init__(
        self, timers: Timers, within: Duration, prompts: bool, send: Send, give_up: GiveUp
    ) -> None:
        self._within, self._prompts = within, prompts
        self._send, self._give_up = send, give_up
        self._queue: list[Turn] = []
        self._waiting = Timer(timers, self._late)
        self._quiet = Timer(timers, self._go_on)
        self.open: Turn | None = None
        self.owed: Turn | None = None
        self.held, self.unnamed, self._paused = True, False, False

    def put(self, turn: Turn, now: Instant) -> None:
        """Let it have its turn: questions who it is first, then commands, then readings."""
        self._queue.append(turn)
        self.go(now)

    def under_way(self, aim: Aim) -> bool:
        """Return whether something with this aim is waiting or open."""
        return any(turn.aim is aim for turn in (*self._queue, *self._opened()))

    def go(self, now: Instant) -> None:
        """Say the next thing, if nothing else is under way."""
        if self.held or self._paused or self.open is not None:
            return
        allowed = [turn for turn in self._queue if turn.aim is Aim.IDENTIFY or not self.unnamed]
        if not allowed:
            return
        turn = min(allowed, key=lambda turn: turn.aim)
        self._queue.remove(turn)
        self.open = turn
        turn.until = Instant(now + self._within + 1)  # it is not late before it has left
        self._send(turn)

    def sent(self, payload: bytes, at: Instant) -> None:
        """Learn when something left; its answer time counts from here."""
        turn = self.open
        if turn is not None and turn.sent is None and turn.payload == payload:
            turn.sent = at
            self._expect(turn, at)

    def answered(self, now: Instant) -> None:
        """The open turn has its answer; where there are prompts, the next waits for one."""
        turn, self.open = self.open, None
        self._waiting.clear()
        if turn is not None and self._prompts:
            self._pause(turn.until)
        self.go(now)

    def ready(self, now: Instant) -> None:
        """The node waits for a command: its prompt stands there, or an answer came late."""
        if self._paused:
            self._go_on(now, now)

    def drop_all(self, aim: Aim | None = None) -> list[Turn]:
        """Forget everything with this aim, or all there is; return it, the open one first."""
        dropped = [turn for turn in (*self._opened(), *self._queue) if aim in (None, turn.aim)]
        self._queue = [turn for turn in self._queue if turn not in dropped]
        if self.open in dropped:
            self.open = None
            self._waiting.clear()
        return dropped

    def drop_open(self) -> Turn | None:
        """Forget the open turn, which will not be answered any more, and what is owed."""
        turn, self.open, self.owed, self._paused = self.open, None, None, False
        self._waiting.clear()
        self._quiet.clear()
        return turn

    def _opened(self) -> tuple[Turn, ...]:
        return () if self.open is None else (self.open,)

    def _expect(self, turn: Turn, at: Instant) -> None:
        turn.until = Instant(at + self._within + 1)
        self._waiting.set(turn.until)

    def _pause(self, until: Instant) -> None:
        self._paused = True
        self._quiet.set(until)

    def _late(self, due: Instant, now: Instant) -> None:
        turn, self.open = self.open, None
        if turn is None:
            return
        self.owed = turn
        self._pause(Instant(due + self._within))
        self._give_up(turn, due, now)

    def _go_on(self, due: Instant, now: Instant) -> None:
        self._paused, self.owed = False, None
        self._quiet.clear()
        self.go(now)
