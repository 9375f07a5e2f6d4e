"""A terminal of paper: what stands on it after a program has written, and in which style.

It knows the little of ECMA-48 that the live tables use, and refuses anything else, so that a test
sees at once when something new is written.
"""

import re

_SEQUENCE = re.compile(r"\x1b\[(\??)([\d;]*)([A-Za-z])")

_BEGUN = re.compile(r"\x1b(?:\[\??[\d;]*)?\Z")


class Terminal:
    """`cells[row][column]` is a sign with its style; `hidden` says whether the cursor is."""

    def __init__(self, columns: int, lines: int) -> None:
        self.columns, self.lines = columns, lines
        self.row = self.column = 0
        self.style = ""
        self.hidden = self.second = False
        self.cells = self._blank()
        self._first = self.cells
        self.scrolled: list[str] = []
        self._rest = ""

    def _blank(self) -> list[list[tuple[str, str]]]:
        return [[(" ", "")] * self.columns for _ in range(self.lines)]

    @property
    def text(self) -> list[str]:
        """The lines without style, without blanks at their ends."""
        return ["".join(sign for sign, _ in row).rstrip() for row in self.cells]

    def style_of(self, text: str) -> str:
        """The style of the first sign of a text."""
        for row, line in enumerate(self.text):
            if text in line:
                return self.cells[row][line.index(text)][1]
        raise AssertionError(f"{text!r} is not on the terminal")

    def feed(self, output: str) -> None:
        output, self._rest = self._rest + output, ""
        cut = _BEGUN.search(output)
        if cut is not None:
            output, self._rest = output[: cut.start()], cut[0]
        at = 0
        while at < len(output):
            found = _SEQUENCE.match(output, at)
            if found is not None:
                self._obey(*found.groups())
                at = found.end()
                continue
            assert output[at] != "\x1b", output[at : at + 10]
            self._write(output[at])
            at += 1

    def _write(self, sign: str) -> None:
        if sign == "\n":
            self.row, self.column = self.row + 1, 0
            if self.row == self.lines:
                self.scrolled.append(self.text[0])
                self.cells = [*self.cells[1:], [(" ", "")] * self.columns]
                self.row -= 1
        elif sign == "\r":
            self.column = 0
        else:
            assert self.column < self.columns, f"a line is too long: {self.text[self.row]!r}"
            self.cells[self.row] = list(self.cells[self.row])
            self.cells[self.row][self.column] = (sign, self.style)
            self.column += 1

    def _obey(self, private: str, numbers: str, letter: str) -> None:
        if private:
            self._switch(int(numbers), letter == "h")
            return
        first, second = [int(number) for number in ((numbers or "0") + ";0").split(";")[:2]]
        if letter == "H":
            self.row, self.column = max(first, 1) - 1, max(second, 1) - 1
        elif letter == "F":
            self.row, self.column = max(0, self.row - max(first, 1)), 0
        elif letter == "K":
            self.cells[self.row] = self.cells[self.row][: self.column] + [(" ", "")] * (
                self.columns - self.column
            )
        elif letter == "J":
            self._obey("", "", "K")
            for row in range(self.row + 1, self.lines):
                self.cells[row] = [(" ", "")] * self.columns
        elif letter == "m":
            self.style = "" if numbers in ("", "0") else numbers
        else:
            raise AssertionError(f"an unknown sequence: {numbers}{letter}")

    def _switch(self, mode: int, on: bool) -> None:
        if mode == 25:
            self.hidden = not on
        elif mode == 1049:
            self.second = on
            if on:
                self._first, self.cells = self.cells, self._blank()
            else:
                self.cells = self._first
        else:
            raise AssertionError(f"an unknown mode: {mode}")
