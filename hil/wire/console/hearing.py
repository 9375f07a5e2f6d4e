"""What the lines of a console mean, each compared with what may be waited for.

boot line         the node has begun a new life
echo              of what was just said; passed over once
answer            to what is open; or late, to what was given up
reading           values of signals, whether asked for or not
anything else     log
"""

import re
from collections.abc import Callable

from hil.core.instant import Instant
from hil.core.observation import Command, CommandAnswered, NodeNote, NodeTrouble
from hil.core.signal import Validity, show_value
from hil.wire.console.boots import Boots
from hil.wire.console.description import Console
from hil.wire.console.lines import Kind, Line
from hil.wire.console.naming import Naming
from hil.wire.console.readings import ConsoleReadings, Say
from hil.wire.console.turn import Aim, Turn, shown
from hil.wire.console.turns import Turns
from hil.wire.console.wording import understood
from hil.wire.rack import Node


class Hearing:
    """The ear of a talk; `booted` is told when the node has booted."""

    def __init__(
        self,
        node: Node,
        console: Console,
        say: Say,
        turns: Turns,
        naming: Naming,
        readings: ConsoleReadings,
        boots: Boots,
        booted: Callable[[Instant], None],
    ) -> None:
        self._node, self._console, self._say = node, console, say
        self._turns, self._naming = turns, naming
        self._readings, self._boots, self._booted = readings, boots, booted
        self._signals = {signal.path: signal for signal in node.signals}
        self._first, self._long = True, False

    def hear(self, line: Line, now: Instant) -> None:
        """Take one line that the node has said."""
        first, self._first = self._first, False
        if line.kind is Kind.CUT:
            self._note_long(now)
            return
        text = line.clean
        if self._boots.look(text, line):
            self._introduced(line, now)
            self._booted(now)
            return
        turn = self._turns.open
        if turn is not None:
            if self._console.echo and not turn.echoed and text.strip() == turn.text.strip():
                turn.echoed = True
                return
            turn.note(line)
        match = self._readings.fitting(text)
        answered = turn is not None and self._answer(turn, line, text, match, now)
        if match is not None and (answered or not first):
            asked = turn.sent if turn is not None and (answered or turn.aim is Aim.READ) else None
            if self._boots.counted(match, line):
                self._booted(now)
            self._readings.take(match, line, asked)
        elif turn is None and self._turns.owed is not None:
            self._late(self._turns.owed, line, text, now)

    def _answer(
        self, turn: Turn, line: Line, text: str, reading: re.Match[str] | None, now: Instant
    ) -> bool:
        """See whether a line answers the open turn; return whether it does."""
        if turn.aim is Aim.READ and turn.accept is None:
            if reading is not None:
                self._turns.answered(now)
            return reading is not None
        match = turn.accept.fullmatch(text) if turn.accept is not None else None
        refused = turn.refuse.fullmatch(text) if turn.refuse is not None else None
        if match is None and refused is None:
            return False
        if turn.command is not None:
            self._reply(turn.command, match, refused, line)
        elif turn.aim is Aim.IDENTIFY and match is not None:
            self._identified(match, line, now)
        self._turns.answered(now)
        return match is not None

    def _introduced(self, line: Line, now: Instant) -> None:
        """Heed what a boot line tells of who the node is."""
        if not self._boots.told:
            return
        self._naming.introduced(self._boots.told, line.octets, now)
        if not self._naming.known:
            self._turns.unnamed = self._readings.held = True
        elif self._turns.unnamed:
            self._turns.unnamed = False
            self._readings.release()

    def _identified(self, match: re.Match[str], line: Line, now: Instant) -> None:
        self._turns.unnamed = not self._naming.answered(match, line.octets, now)
        if not self._turns.unnamed and self._readings.held:
            self._readings.release()

    def _reply(
        self,
        command: Command,
        match: re.Match[str] | None,
        refused: re.Match[str] | None,
        line: Line,
    ) -> None:
        detail = ""
        if match is not None:
            detail = self._in_force(command, match)
        elif refused is not None:
            detail = refused.groupdict().get("why") or shown(line.octets)
        self._say(
            CommandAnswered(
                token=command.token,
                at=line.at,
                accepted=match is not None,
                detail=detail,
                raw=line.octets,
            )
        )

    def _in_force(self, command: Command, match: re.Match[str]) -> str:
        """Say which value the answer tells, where it tells one."""
        word = match.groupdict().get("value")
        if word is None:
            return ""
        signal = self._signals[command.signal]
        value, validity, note = understood(word, signal, self._node.encodings[signal.name])
        told = show_value(value, signal) if validity is Validity.VALID else note
        if value == command.value:
            return f"answered {told}"
        return f"answered {told}, asked for {show_value(command.value, signal)}"

    def _late(self, owed: Turn, line: Line, text: str, now: Instant) -> None:
        """See whether a line is the answer to what was given up."""
        match = owed.accept.fullmatch(text) if owed.accept is not None else None
        if match is not None and owed.aim is Aim.IDENTIFY:
            self._identified(match, line, now)  # late or not, it tells who is there
            self._turns.ready(now)
        elif match is not None or (owed.refuse is not None and owed.refuse.fullmatch(text)):
            told = f'late answer to "{owed.text}", which was given up: {shown(line.octets)}'
            self._note(NodeTrouble.STRAY, now, told, line.octets)
            self._turns.ready(now)

    def _note_long(self, now: Instant) -> None:
        """Say once that there are lines that nobody can read."""
        if not self._long:
            self._long = True
            text = f"a line of more than {self._console.longest} octets is taken apart and not read"
            self._note(NodeTrouble.GARBLED, now, text)

    def _note(self, trouble: NodeTrouble, at: Instant, text: str, raw: bytes = b"") -> None:
        self._say(NodeNote(node=self._node.name, trouble=trouble, at=at, text=text, raw=raw))
