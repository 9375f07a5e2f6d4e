"""Puts lines on a terminal in colour, or on anything else as plain text.

NO_COLOR (https://no-color.org), a dumb terminal or a pipe: plain text, no control characters.
"""

import os
from collections.abc import Mapping, Sequence
from typing import TextIO

from hil.report.summary import Line, Tone, plain

_STYLES = {
    Tone.GOOD: "green",
    Tone.BAD: "bold red",
    Tone.DOUBT: "yellow",
    Tone.QUIET: "dim",
    Tone.STRONG: "bold",
}


def wants_colour(stream: TextIO, environment: Mapping[str, str] = os.environ) -> bool:
    """Say whether colours may be written to a stream."""
    if environment.get("NO_COLOR") or environment.get("TERM") == "dumb":
        return False
    return stream.isatty()


def paint(lines: Sequence[Line], stream: TextIO, *, colour: bool) -> None:
    """Write lines; what the stream's encoding cannot show is written as an escape."""
    if not colour:
        encoding = stream.encoding or "utf-8"
        stream.write(plain(lines).encode(encoding, "backslashreplace").decode(encoding))
        stream.flush()
        return
    from rich.console import Console
    from rich.text import Text

    console = Console(file=stream, markup=False, highlight=False, soft_wrap=True)
    for line in lines:
        console.print(Text.assemble(*((text, _STYLES.get(tone, "")) for text, tone in line)))
