"""One line for people: pieces with a tone, and how it fits a window.

wrap   breaks at blanks only; what follows hangs under the text of the first line
crop   the longest piece gives way, and an ellipsis says so
spell  signs that an encoding cannot carry, in letters that it can

                                         in a window of 40 columns
failed        a vane reaches its angle   failed        a vane reaches its angle
[vane-2, 45 deg]                                       [vane-2, 45 deg]
"""

import re
from collections.abc import Iterator, Sequence
from enum import Enum


class Tone(Enum):
    """How a piece of text is meant; hil.report.paint decides the colour."""

    PLAIN = "plain"
    GOOD = "good"
    BAD = "bad"
    DOUBT = "doubt"
    QUIET = "quiet"
    STRONG = "strong"


Line = tuple[tuple[str, Tone], ...]
"""One line, in pieces."""

HANG = 4
_LABEL = re.compile(r" *(?:\S+ )*?\S+ {2,}(?=\S)")
_SPELLED = {"–": "-", "…": "...", "×": "x", "±": "+/-", "µ": "u", "─": "-", "└": "+", "┘": "+"}


def text_of(line: Line) -> str:
    """Return a line without its tones."""
    return "".join(text for text, _ in line)


def plain(lines: Sequence[Line]) -> str:
    """Return lines without any tone."""
    return "".join(text_of(line).rstrip() + "\n" for line in lines)


def spell(line: Line, encoding: str) -> Line:
    """Return the line as an encoding can carry it: our own signs spelled, others as escapes.

    >>> spell((("– 3 × 5 ± 1 µs \u03a9", Tone.PLAIN),), "ascii")[0][0]
    '- 3 x 5 +/- 1 us \\\\u03a9'
    """
    return tuple((_carried(text, encoding), tone) for text, tone in line)


def wrap(line: Line, width: int) -> list[Line]:
    """Break a line at blanks so that each part fits; only a word wider than that is cut.

    A word that is followed by two blanks or more, early in the line, is a label: what follows
    hangs under what it labels.
    """
    from rich.cells import cell_len

    text = text_of(line)
    if cell_len(text) <= width:
        return [line]
    hang = _hang(text, width)
    parts = [_cut(line, start, end) for start, end in _spans(text, width, hang)]
    return [parts[0], *(((" " * hang, Tone.PLAIN), *part) for part in parts[1:])]


def crop(line: Line, width: int, ellipsis: str = "…") -> Line:
    """Shorten the longest piece of a line until the line fits."""
    from rich.cells import cell_len, set_cell_size

    sizes = [cell_len(text) for text, _ in line]
    excess = sum(sizes) - width
    if excess <= 0:
        return line
    place = sizes.index(max(sizes))
    kept = max(0, sizes[place] - excess - cell_len(ellipsis))
    text, tone = line[place]
    return (
        *line[:place],
        (set_cell_size(text, kept).rstrip() + ellipsis, tone),
        *line[place + 1 :],
    )


def _carried(text: str, encoding: str) -> str:
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return "".join(_letter(letter, encoding) for letter in text)
    return text


def _letter(letter: str, encoding: str) -> str:
    try:
        letter.encode(encoding)
    except UnicodeEncodeError:
        return _SPELLED.get(letter) or letter.encode(encoding, "backslashreplace").decode(encoding)
    return letter


def _hang(text: str, width: int) -> int:
    """Return the column under which the rest of a line hangs."""
    from rich.cells import cell_len

    label = _LABEL.match(text)
    if label is not None and cell_len(label[0]) <= width // 2:
        return cell_len(label[0])
    indent = len(text) - len(text.lstrip(" "))
    return min(indent + HANG, width // 2)


def _spans(text: str, width: int, hang: int) -> Iterator[tuple[int, int]]:
    """Yield (start, end) of the parts of a text; blanks at a break belong to none."""
    from rich.cells import cell_len

    start = end = 0
    room = width
    for word in re.finditer(r" *[^ ]+", text):
        if cell_len(text[start : word.end()]) <= room:
            end = word.end()
            continue
        if end > start:
            yield start, end
            start, room = word.end() - len(word[0].lstrip(" ")), width - hang
        while cell_len(text[start : word.end()]) > room:
            cut = start + _fitting(text[start : word.end()], room)
            yield start, cut
            start, room = cut, width - hang
        end = word.end()
    yield start, end


def _fitting(text: str, room: int) -> int:
    """Return how many characters of a text fit; one at least."""
    from rich.cells import cell_len

    count = 1
    while count < len(text) and cell_len(text[: count + 1]) <= room:
        count += 1
    return count


def _cut(line: Line, start: int, end: int) -> Line:
    """Return the characters `start` to `end` of a line, with their tones."""
    pieces = []
    at = 0
    for text, tone in line:
        piece = text[max(0, start - at) : max(0, end - at)]
        if piece:
            pieces.append((piece, tone))
        at += len(text)
    return tuple(pieces)
