"""Puts lines on a terminal in colour, or on anything else as plain text.

A dumb terminal or a pipe: plain text, no control characters.  NO_COLOR (https://no-color.org) takes
away the colours of a terminal and nothing else: what is alive on it stays alive.
On a terminal, coloured or not, long lines are broken at blanks; in a pipe a line stays one line.
"""

import os
import shutil
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, TextIO

from hil.report.line import Line, Tone, plain, spell, wrap

if TYPE_CHECKING:
    from rich.text import Text

_STYLES = {
    Tone.GOOD: "green",
    Tone.BAD: "bold red",
    Tone.DOUBT: "yellow",
    Tone.QUIET: "dim",
    Tone.STRONG: "bold",
}


def is_screen(stream: TextIO, environment: Mapping[str, str] = os.environ) -> bool:
    """Say whether a stream is a terminal on which a line can be drawn again."""
    return stream.isatty() and environment.get("TERM") != "dumb"


def wants_colour(stream: TextIO, environment: Mapping[str, str] = os.environ) -> bool:
    """Say whether colours may be written to a stream."""
    return not environment.get("NO_COLOR") and is_screen(stream, environment)


def terminal_width(stream: TextIO) -> int | None:
    """Return how many columns a terminal has; None for a stream that is none."""
    if not stream.isatty():
        return None
    try:
        return os.get_terminal_size(stream.fileno()).columns or 80
    except (OSError, ValueError):
        return shutil.get_terminal_size().columns


def paint(lines: Iterable[Line], stream: TextIO, *, colour: bool | None = None) -> None:
    """Write lines, each as the stream's encoding and the terminal's width have it.

    They are in colour where the stream wants it, unless `colour` says otherwise.
    """
    colour = wants_colour(stream) if colour is None else colour
    width = terminal_width(stream)
    encoding = stream.encoding or "utf-8"
    shown = [spell(line, encoding) for line in lines]
    if width is not None:
        shown = [part for line in shown for part in wrap(line, width)]
    if not colour:
        stream.write(plain(shown))
        stream.flush()
        return
    from rich.console import Console

    console = Console(file=stream, markup=False, highlight=False, soft_wrap=True)
    for line in shown:
        console.print(styled(line))


def say_plainly(text: str, stream: TextIO) -> None:
    """Write one line without any tone."""
    paint([((text, Tone.PLAIN),)], stream, colour=False)


def styled(line: Line) -> "Text":
    """Return a line in the colours of its tones."""
    from rich.text import Text

    return Text.assemble(*((text, _STYLES.get(tone, "")) for text, tone in line))
