"""One thing that the tool says on a console and waits to be answered."""

import re
from dataclasses import dataclass
from enum import IntEnum

from hil.core.instant import Instant
from hil.core.observation import Command
from hil.wire.console.lines import Line

_SHOWN = 80


class Aim(IntEnum):
    """What it is said for; the smallest has its turn first."""

    IDENTIFY = 0
    COMMAND = 1
    READ = 2


@dataclass(slots=True)
class Turn:
    """One turn; `heard` is the last line since it was sent, `echoed` whether its echo has come."""

    aim: Aim
    text: str
    payload: bytes
    accept: re.Pattern[str] | None
    until: Instant = Instant(0)
    refuse: re.Pattern[str] | None = None
    command: Command | None = None
    sent: Instant | None = None
    echoed: bool = False
    heard: str = ""

    def note(self, line: Line) -> None:
        """Remember what was said while this waited."""
        self.heard = shown(line.octets)

    def missing(self, rest: bytes) -> str:
        """Say what came instead of an answer; `rest` is what has no line end yet."""
        if rest:
            octets = rest[:_SHOWN].hex(" ")
            more = " …" if len(rest) > _SHOWN else ""
            counted = "1 octet" if len(rest) == 1 else f"{len(rest)} octets"
            return f"it said {shown(rest)} without a line end ({counted}: {octets}{more})"
        return f"the last it said was {self.heard}" if self.heard else "it said nothing"


def shown(octets: bytes) -> str:
    """Return octets as a text in quotes, everything visible, cut where it is long."""
    text = octets.decode("utf-8", "backslashreplace")
    visible = "".join(
        letter if letter.isprintable() else letter.encode("unicode_escape").decode()
        for letter in text
    )
    return f'"{visible[:_SHOWN]}…"' if len(visible) > _SHOWN else f'"{visible}"'
