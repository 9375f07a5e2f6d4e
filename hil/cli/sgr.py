"""Colours of a terminal, by the numbers of ECMA-48 8.3.117 (SGR), without a library.

A table that is drawn four times a second must be cheap.  A colour is given by its RGB and shown by
the nearest one that the terminal has: the 6 × 6 × 6 cube where TERM says 256 colours (as xterm
numbers it), else one of eight.  A line is a tuple of pieces: a text, and the numbers of its style.
"""

import os
from collections.abc import Mapping, Sequence

from hil.report.line import Tone

Rgb = tuple[int, int, int]
Piece = tuple[str, str]
Pieces = tuple[Piece, ...]

PLAIN = ""
_TONES = {
    Tone.PLAIN: PLAIN,
    Tone.GOOD: "32",
    Tone.BAD: "1;31",
    Tone.DOUBT: "33",
    Tone.QUIET: "2",
    Tone.STRONG: "1",
}
_CUBE = (0, 95, 135, 175, 215, 255)  # xterm's 256 colours, 16 to 231: the steps of each channel
_BRIGHT = 96  # a channel from here up counts as lit, where there are eight colours


class Colours:
    """What a terminal can show; `wanted` is False for one that is to show none."""

    def __init__(self, wanted: bool, environment: Mapping[str, str] = os.environ) -> None:
        self.wanted = wanted
        rich = "256" in environment.get("TERM", "") or environment.get("COLORTERM", "") != ""
        self._many = rich

    def tone(self, tone: Tone) -> str:
        """Return the style of a tone."""
        return _TONES[tone] if self.wanted else PLAIN

    def rgb(self, rgb: Rgb | None) -> str:
        """Return the style of a text in this colour; that of plain text for black and for none."""
        if not self.wanted or rgb is None or not any(rgb):
            return PLAIN
        if self._many:
            red, green, blue = (_nearest(channel) for channel in rgb)
            return f"38;5;{16 + 36 * red + 6 * green + blue}"
        red, green, blue = (channel >= _BRIGHT for channel in rgb)
        return str(30 + red + 2 * green + 4 * blue)


def _nearest(channel: int) -> int:
    return min(range(6), key=lambda step: abs(_CUBE[step] - channel))


def render(pieces: Sequence[Piece]) -> str:
    """Return a line as a terminal takes it."""
    return "".join(f"\x1b[{style}m{text}\x1b[0m" if style else text for text, style in pieces)


def text_of(pieces: Sequence[Piece]) -> str:
    """Return a line without its styles."""
    return "".join(text for text, _ in pieces)


def fit(pieces: Sequence[Piece], width: int) -> Pieces:
    """Return as much of a line as goes into so many columns."""
    from rich.cells import cell_len, set_cell_size

    kept: list[Piece] = []
    left = width
    for text, style in pieces:
        size = cell_len(text)
        if size > left:
            kept.append((set_cell_size(text, max(0, left - 1)) + "…" if left > 0 else "", style))
            break
        kept.append((text, style))
        left -= size
    return tuple(kept)
