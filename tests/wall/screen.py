"""What a terminal shows after all that was written to it: enough of ECMA-48 for our own output."""

import re

_PIECE = re.compile(r"\x1b\[([0-9;?]*)([A-Za-z])|\r|\n|\x07|[^\x1b\r\n\x07]+")


def screen(written: str) -> list[str]:
    """Return the lines as they stand in the end, without what was written over or erased."""
    lines, row, column = [""], 0, 0
    for piece in _PIECE.finditer(written):
        text, count = piece[0], int(piece[1]) if piece[1] and piece[1].isdigit() else 1
        if text == "\r":
            column = 0
        elif text == "\n":
            row += 1
            lines += [""] * (row + 1 - len(lines))
        elif piece[2] == "A":
            row = max(0, row - count)
        elif piece[2] == "K":
            lines[row] = "" if count == 2 else lines[row][:column]
        elif piece[2] is None and text != "\x07":
            line = lines[row].ljust(column)
            lines[row] = line[:column] + text + line[column + len(text) :]
            column += len(text)
    return [line.rstrip() for line in lines]
