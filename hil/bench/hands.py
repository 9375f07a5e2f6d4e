"""The links of a rack together with what the bench itself can do: ask a person, run a program.

A command goes to its node, unless the bench drives that signal by a program; a question goes to
the person at the terminal.  Where nobody is there a question is answered by saying so.
"""

from hil.bench.keyboard import Keyboard
from hil.bench.programs import Workshop
from hil.core.errand import Halt, Prompt, Wish, Withdrawn
from hil.core.instant import Instant
from hil.core.observation import Command
from hil.wire.link import Links
from hil.wire.rack import Rack


class Hands(Links):
    """Links that also pass on what is asked of the bench."""

    def __init__(
        self,
        rack: Rack,
        start: Instant,
        *,
        keyboard: Keyboard | None = None,
        workshop: Workshop | None = None,
    ) -> None:
        super().__init__(rack, start)
        self._keyboard, self._workshop = keyboard, workshop

    def execute(self, command: Command | Wish, now: Instant) -> None:
        workshop = self._workshop
        if workshop is not None and isinstance(command, Command) and command.signal in workshop:
            workshop.start(command)
        elif workshop is not None and isinstance(command, Halt):
            workshop.halt()
        elif isinstance(command, Prompt) and self._keyboard is not None:
            self._keyboard.ask(command)
        elif isinstance(command, Withdrawn) and self._keyboard is not None:
            self._keyboard.withdraw(command)
        else:
            super().execute(command, now)
