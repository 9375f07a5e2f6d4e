"""A node's serial console heard by a third: from the lines that were written down.

What the tool said opens a turn, as in hil.wire.console.talk, so that a reading which answers it is as
old as the question; nothing is ever said from here.
"""

import re
from collections.abc import Mapping

from hil.core.event import ConsoleLine
from hil.core.instant import Instant
from hil.wire.console.boots import Boots
from hil.wire.console.description import Phrase
from hil.wire.console.hearing import Hearing
from hil.wire.console.lines import Kind, Line
from hil.wire.console.naming import Naming
from hil.wire.console.readings import ConsoleReadings, Say
from hil.wire.console.talk import boots_counted
from hil.wire.console.turn import Aim, Turn
from hil.wire.console.turns import Turns
from hil.wire.rack import Node
from hil.wire.timers import Timer, Timers


class ConsoleEar:
    """The machine of one console; lines count from `start`, as those of a journal do."""

    def __init__(self, node: Node, timers: Timers, say: Say, start: Instant) -> None:
        assert node.console is not None
        self._console, self._start = node.console, start
        asks = node.address == node.console.address and node.console.identify is not None
        self._readings = ConsoleReadings(node, node.console, timers, say)
        self._readings.held = asks
        self._boots = Boots(node, node.console, start, say, counted=not boots_counted(node))
        # Its own timers never fire: whether to ask again is not decided here.
        self._naming = Naming(node, Timers(), say, lambda now: None, {}, asks=asks)
        within, silent = node.answer_within, lambda *_: None
        self._turns = Turns(timers, within, False, silent, silent)
        self._turns.held = False
        parts = (self._turns, self._naming, self._readings, self._boots)
        self._hearing = Hearing(node, node.console, say, *parts, self._booted)
        self._phrases = _phrases(node.console.commands)
        self._opening = Timer(timers, self._missed)
        if self._boots.awaited:
            self._opening.set(Instant(start + node.console.boot_within + 1))

    def stood(self, line: ConsoleLine, octets: bytes) -> None:
        """Take in one line; `octets` are those of a line whose text does not tell them."""
        octets = octets or line.text.encode("utf-8", "surrogatepass")
        at = Instant(self._start + line.at)
        if line.way == "out":
            self._said(line.text, octets, at)
            return
        kind = Kind.CUT if line.cut else Kind.WHOLE
        self._hearing.hear(Line(octets, kind, Instant(at - line.lasted), at), at)
        self._boots.heard(at)

    def unreachable(self, why: str, at: Instant) -> None:
        """Learn that the line itself failed."""
        self._turns.drop_all()
        self._readings.lose(at, why)

    def _said(self, text: str, octets: bytes, at: Instant) -> None:
        turn = self._turn(text, octets)
        self._turns.drop_open()
        self._turns.put(turn, at)
        self._turns.sent(octets, at)

    def _turn(self, text: str, octets: bytes) -> Turn:
        for aim, question in (
            (Aim.IDENTIFY, self._console.identify),
            (Aim.READ, self._console.read),
        ):
            if question is not None and question.send == text:
                return Turn(aim, text, octets, question.answer)
        for pattern, phrase in self._phrases:
            if pattern.fullmatch(text):
                return Turn(Aim.COMMAND, text, octets, phrase.accept, refuse=phrase.refuse)
        return Turn(Aim.COMMAND, text, octets, None)

    def _booted(self, now: Instant) -> None:
        self._readings.booted = now
        self._opening.clear()
        self._turns.drop_open()
        self._naming.forget()

    def _missed(self, due: Instant, now: Instant) -> None:
        self._opening.clear()
        if self._boots.awaited:
            self._boots.missed(due)


def _phrases(commands: Mapping[str, Phrase]) -> list[tuple[re.Pattern[str], Phrase]]:
    """Return what every command looks like when it has been said, whatever its value."""
    found = []
    for phrase in commands.values():
        pieces = re.split(r"\{[^{}]*\}", phrase.send)
        found.append((re.compile(".*".join(re.escape(piece) for piece in pieces)), phrase))
    return found
